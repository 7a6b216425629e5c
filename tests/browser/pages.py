"""Every page of the demo, by its name in the addresses: what the scan, the click-through and the pictures go over."""

from collections.abc import Iterator

from django.urls import URLPattern, URLResolver, get_resolver, reverse

from clinic.models import Helper, User, Visit
from reminders.demo.loading import patient_link
from reminders.models import CallItem
from taping.models import Application, SkinReport, SkinScreen, StripPlan

NO_PAGE = {
    "application_sign", "application_still_on",
    "health", "health_ready", "helper_remove", "link_revoke", "log_out", "message_again",
    "patient_consent", "plan_again", "plan_close", "plan_cut", "plan_goal", "plan_on_skin", "plan_start",
    "plan_strip_remove", "screen_verdict", "settings_closure_open", "settings_closures", "settings_hours",
    "visit_calendar", "visit_state",
}  # fmt: skip
"""Names that answer posts, fragments, files or machines."""


def names() -> set[str]:
    """The name of every address of the program."""

    def walk(patterns: list[URLPattern | URLResolver]) -> Iterator[str]:
        for pattern in patterns:
            if isinstance(pattern, URLResolver):
                yield from walk(pattern.url_patterns)
            else:
                yield str(pattern.name)

    return set(walk(get_resolver().url_patterns))


def demo_draft() -> StripPlan:
    """A plan that is not on the skin yet, on the clear screen of the demo's newest tape."""
    screen = SkinScreen.objects.filter(outcome="clear").latest("id")
    therapist = User.objects.filter(is_therapist=True).earliest("id")
    return StripPlan.objects.create(
        screen=screen, made_by=therapist, made_at=screen.made_at, saved_at=screen.made_at, goal=screen.goal
    )


def addresses() -> dict[str, str]:
    """Where to look, by name; a page with more than one face has a second name after a colon."""
    worn = Application.objects.filter(ended_at=None).latest("applied_at")
    signs = Application.objects.filter(supervisor__isnull=False).earliest("id")
    ended = Application.objects.exclude(ended_at=None).earliest("id")
    helper = Helper.objects.earliest("id")
    visit = Visit.objects.filter(state="booked").latest("starts_at")
    path = patient_link().partition("://")[2].partition("/")[2]
    patient = {"pk": worn.patient_id}
    return {
        "log_in": reverse("log_in"),
        "today": reverse("today"),
        "patients": reverse("patients"),
        "patients:found": reverse("patients") + "?q=quill",
        "patients:none": reverse("patients") + "?q=nobody+of+that+name",
        "patient_add": reverse("patient_add"),
        "patient_page": reverse("patient_page", kwargs=patient),
        "patient_change": reverse("patient_change", kwargs=patient),
        "helper_add": reverse("helper_add", kwargs=patient),
        "helper_change": reverse("helper_change", kwargs={"pk": helper.pk}),
        "settings": reverse("settings"),
        "diary": reverse("diary"),
        "diary:week": reverse("diary") + "?view=week",
        "visit_book": reverse("visit_book") + f"?patient={worn.patient_id}",
        "visit_page": reverse("visit_page", kwargs={"pk": visit.pk}),
        "visit_move": reverse("visit_move", kwargs={"pk": visit.pk}),
        "screen_new": reverse("screen_new", kwargs=patient),
        "screen_new:questions": reverse("screen_new", kwargs=patient) + "?region=ankle&side=right",
        "screen_page": reverse("screen_page", kwargs={"pk": worn.plan.screen_id}),
        "screen_page:hold": reverse("screen_page", kwargs={"pk": SkinScreen.objects.get(outcome="do_not_tape").pk}),
        "plan_page": reverse("plan_page", kwargs={"pk": demo_draft().pk}),
        "application_page": reverse("application_page", kwargs={"pk": worn.pk}),
        "application_page:ended": reverse("application_page", kwargs={"pk": ended.pk}),
        "application_end": reverse("application_end", kwargs={"pk": worn.pk}),
        "application_page:to sign": reverse("application_page", kwargs={"pk": signs.pk}),
        "call_work": reverse("call_work", kwargs={"pk": CallItem.objects.earliest("id").pk}),
        "report_page": reverse("report_page", kwargs={"pk": SkinReport.objects.earliest("id").pk}),
        "messages": reverse("messages"),
        "link_page": f"/{path}",
        "link_answer": f"/{path}skin/",
        "link_page:unknown": "/t/nobodys-link/",
        "stop_page": reverse("stop_page", kwargs={"token": "nobodys-link"}),
    }
