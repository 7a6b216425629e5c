"""The addresses of the taping pages."""

from django.urls import path

from taping.views import endings, plans, screens

urlpatterns = [
    path("patients/<int:pk>/screen/", screens.new, name="screen_new"),
    path("patients/<int:pk>/screen/verdict/", screens.verdict, name="screen_verdict"),
    path("screens/<int:pk>/", screens.page, name="screen_page"),
    path("screens/<int:pk>/plan/", screens.start_plan, name="plan_start"),
    path("plans/<int:pk>/", plans.page, name="plan_page"),
    path("plans/<int:pk>/cut/", plans.cut, name="plan_cut"),
    path("plans/<int:pk>/goal/", plans.change_goal, name="plan_goal"),
    path("plans/<int:pk>/again/", plans.again, name="plan_again"),
    path("plans/<int:pk>/strips/<int:position>/remove/", plans.remove_strip, name="plan_strip_remove"),
    path("plans/<int:pk>/on-the-skin/", plans.on_skin, name="plan_on_skin"),
    path("plans/<int:pk>/close/", plans.close, name="plan_close"),
    path("applications/<int:pk>/end/", endings.end, name="application_end"),
]
