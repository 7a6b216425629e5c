"""The addresses of the taping pages."""

from django.urls import path

from taping.views import corrections, endings, pain, pictures, plans, rolls, screen_records, screens, worn

urlpatterns = [
    path("patients/<int:pk>/screen/", screens.new, name="screen_new"),
    path("screen-drafts/<int:pk>/discard/", screens.discard, name="screen_draft_discard"),
    path("screens/<int:pk>/", screen_records.page, name="screen_page"),
    path("screens/<int:pk>/sheet/", screen_records.sheet, name="screen_sheet"),
    path("screens/<int:pk>/plan/", screen_records.start_plan, name="plan_start"),
    path("screens/<int:pk>/plan/again/", plans.use_last, name="plan_use_last"),
    path("screens/<int:pk>/not-taped/", screen_records.not_taped, name="screen_not_taped"),
    path("screens/<int:pk>/sign/", screen_records.sign, name="screen_sign"),
    path("plans/<int:pk>/", plans.page, name="plan_page"),
    path("plans/<int:pk>/cut/", plans.cut, name="plan_cut"),
    path("plans/<int:pk>/goal/", plans.change_goal, name="plan_goal"),
    path("plans/<int:pk>/words/", plans.keep_words, name="plan_words"),
    path("plans/<int:pk>/again/", plans.again, name="plan_again"),
    path("plans/<int:pk>/strips/<int:position>/remove/", plans.remove_strip, name="plan_strip_remove"),
    path("plans/<int:pk>/on-the-skin/", plans.on_skin, name="plan_on_skin"),
    path("plans/<int:pk>/close/", plans.close, name="plan_close"),
    path("plans/<int:pk>/pain/", pain.pain_save, name="pain_save"),
    path("rolls/", rolls.rolls, name="rolls"),
    path("rolls/<int:pk>/", rolls.measure, name="roll_measure"),
    path("rolls/<int:pk>/use/", rolls.use, name="roll_use"),
    path("applications/<int:pk>/correct/", corrections.correct, name="application_correct"),
    path("applications/<int:pk>/end/", endings.end, name="application_end"),
    path("applications/<int:pk>/skin-after/", endings.skin_after, name="skin_after"),
    path("applications/<int:pk>/skin/", worn.report_new, name="report_new"),
    path("applications/<int:pk>/strips/", worn.strips, name="strip_events"),
    path("pictures/<str:where>/<str:side>/<int:number>.svg", pictures.removal_picture, name="removal_picture"),
    path("strip-events/<int:pk>/take-back/", worn.strip_take_back, name="strip_take_back"),
]
