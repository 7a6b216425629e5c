"""The addresses of the taping pages."""

from django.urls import path

from taping.views import screens

urlpatterns = [
    path("patients/<int:pk>/screen/", screens.new, name="screen_new"),
    path("patients/<int:pk>/screen/verdict/", screens.verdict, name="screen_verdict"),
    path("screens/<int:pk>/", screens.page, name="screen_page"),
    path("screens/<int:pk>/plan/", screens.start_plan, name="plan_start"),
]
