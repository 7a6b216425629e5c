"""Every page of the demo, by its name in the addresses: what the scan, the click-through and the pictures go over."""

from collections.abc import Iterator

from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone

from clinic.models import Helper, PatientImport, User, Visit
from clinic.services.events import Actor
from clinic.services.imports import import_begin, import_check, import_choose
from reminders.demo.loading import patient_link
from reminders.models import BatchSheet, CallItem, SheetBatch
from taping.models import Application, SkinReport, SkinScreen, StripPlan, TapeRoll

NO_PAGE = {
    "log_in_code", "staff_factor", "staff_log_out", "staff_password",
    "language_approved", "language_off", "language_own", "text_preview",
    "settings_holidays", "therapist_away", "therapist_back",
    "import_check", "import_choose", "import_drop", "import_refused", "import_write", "patients_export",
    "events_export", "patient_erase_call", "patient_export",
    "awake", "change_user", "icon", "kept_form", "lock", "today_live",
    "application_first_message", "application_hand_over", "application_sign", "application_still_on",
    "application_visit", "remover_reasons",
    "health", "health_ready", "helper_remove", "hook", "link_revoke", "log_out", "message_again",
    "pain_save", "skin_after", "strip_take_back",
    "link_paper", "removal_picture", "sheet_aftercare", "sheet_batch_paper", "sheet_hold", "sheet_plan", "sheet_record",
    "patient_consent", "plan_again", "plan_close", "plan_cut", "plan_goal", "plan_on_skin", "plan_start",
    "plan_strip_remove", "plan_use_last", "plan_words", "roll_use",
    "screen_draft_discard", "screen_not_taped", "screen_sign",
    "settings_closure_open", "settings_closures", "settings_hours",
    "application_calendar", "day_paper", "feed", "link_calendar", "visit_calendar", "visit_state",
}  # fmt: skip
"""Names that answer posts, fragments, files or machines."""
STANDS_AFTER = {"account_codes", "account_factor_off"}
"""Names of pages that stand only for somebody with a second factor: looked at by a test of its own."""


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


def demo_list(text: str) -> PatientImport:
    """A list of patients, checked and not written."""
    actor, now = Actor(word="test"), timezone.now()
    of = import_begin(actor=actor, now=now, file_name="list.csv", pieces=[text.encode()])
    of = import_choose(actor=actor, now=now, of=of, codec="", delimiter=",", mapping=None, order=None)
    return import_check(of=of, today=now.date(), chunks=9)


LIST = (
    "name,born,phone,email\nAna Reis,1985-03-04,212 555 0123,ana@example.org\n"
    "Bo Lund,36585,4.474E+11,\nCy Ng,03/04/1985,,\n"
)


def _plan_pages() -> dict[str, str]:
    return {
        "plan_page": reverse("plan_page", kwargs={"pk": demo_draft().pk}),
        "application_correct": reverse("application_correct", kwargs={"pk": Application.objects.latest("id").pk}),
        "rolls": reverse("rolls"),
        "roll_measure": reverse("roll_measure", kwargs={"pk": TapeRoll.objects.earliest("id").pk}),
    }


def _taped_before() -> Application:
    """Tape that is off, of a patient with nothing on now."""
    worn = Application.objects.filter(ended_at=None).values("patient")
    return Application.objects.exclude(ended_at=None).exclude(patient__in=worn).latest("id")


def screen_pages(worn: Application) -> dict[str, str]:
    """The pages of a skin screen."""
    patient = {"pk": worn.patient_id}
    return {
        "walk_in": reverse("walk_in"),
        "screen_new": reverse("screen_new", kwargs=patient),
        "screen_new:again": reverse("screen_new", kwargs={"pk": _taped_before().patient_id}),
        "screen_new:questions": reverse("screen_new", kwargs=patient) + "?region=ankle&side=right",
        "screen_new:several": reverse("screen_new", kwargs=patient) + "?several=1&place=knee.left&place=knee.right",
        "screen_sheet": reverse("screen_sheet", kwargs={"pk": SkinScreen.objects.get(outcome="do_not_tape").pk}),
        "screen_page": reverse("screen_page", kwargs={"pk": worn.plan.screen_id}),
        "screen_page:hold": reverse("screen_page", kwargs={"pk": SkinScreen.objects.get(outcome="do_not_tape").pk}),
    }


def _staff_pages(therapist: int) -> dict[str, str]:
    """The settings, who works here, and one's own log-in."""
    names = (
        "settings",
        "first_steps",
        "staff",
        "staff_add",
        "account",
        "account_password",
        "account_factor",
        "account_log_ins",
    )
    return {name: reverse(name) for name in names} | {"staff_person": reverse("staff_person", kwargs={"pk": therapist})}


def _sheet_pages() -> dict[str, str]:
    """The pages of several sheets at once, stopped before the first was made."""
    tape = Application.objects.filter(ended_at=None).latest("applied_at")
    at = tape.saved_at
    batch = SheetBatch.objects.create(
        kind="aftercare", day=tape.removal_day, made_by=tape.therapist, made_at=at, stopped_at=at
    )
    BatchSheet.objects.create(batch=batch, application=tape, position=1)
    return {"sheets": reverse("sheets"), "sheet_batch": reverse("sheet_batch", kwargs={"pk": batch.pk})}


def _diary_pages(visit: Visit, patient: int) -> dict[str, str]:
    """The diary, a visit in it, and the therapist's own calendar."""
    return {
        "diary": reverse("diary"),
        "my_calendar": reverse("my_calendar"),
        "diary:week": reverse("diary") + "?view=week",
        "visit_book": reverse("visit_book") + f"?patient={patient}",
        "visit_page": reverse("visit_page", kwargs={"pk": visit.pk}),
        "visit_move": reverse("visit_move", kwargs={"pk": visit.pk}),
    }


def _record_pages(patient: int) -> dict[str, str]:
    """What a manager sees of who did what, and of one patient's record as such."""
    return {
        "events": reverse("events"),
        "events:none": reverse("events") + "?patient=nobody+of+that+name",
        "patient_seen": reverse("patient_seen", kwargs={"pk": patient}),
        "patient_erase": reverse("patient_erase", kwargs={"pk": patient}),
        "keeping": reverse("keeping"),
    }


def _text_pages() -> dict[str, str]:
    """The messages, and the pages on which their words are changed: a short one, from right to left, and the shared."""
    return {
        "texts": reverse("texts"),
        "text_edit": reverse("text_edit", args=["en", "removal_day"]),
        "text_edit:arabic": reverse("text_edit", args=["ar", "aftercare"]),
        "text_edit:shared": reverse("text_edit", args=["en", "letter"]),
    }


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
        "locked": reverse("locked"),
        "today": reverse("today"),
        "patients": reverse("patients"),
        "patients:found": reverse("patients") + "?q=quill",
        "patients:none": reverse("patients") + "?q=nobody+of+that+name",
        "patient_add": reverse("patient_add"),
        "patient_page": reverse("patient_page", kwargs=patient),
        "patient_change": reverse("patient_change", kwargs=patient),
        "import_begin": reverse("import_begin"),
        "import_page": reverse("import_page", kwargs={"pk": demo_list(LIST).pk}),
        "import_page:columns": reverse("import_page", kwargs={"pk": demo_list(LIST).pk}) + "?columns=1",
        "helper_add": reverse("helper_add", kwargs=patient),
        "helper_change": reverse("helper_change", kwargs={"pk": helper.pk}),
        **_staff_pages(visit.therapist_id),
        **_record_pages(worn.patient_id),
        "therapist_hours": reverse("therapist_hours", kwargs={"pk": visit.therapist_id}),
        **_diary_pages(visit, worn.patient_id),
        **screen_pages(worn),
        **_plan_pages(),
        "application_page": reverse("application_page", kwargs={"pk": worn.pk}),
        "application_page:ended": reverse("application_page", kwargs={"pk": ended.pk}),
        "application_end": reverse("application_end", kwargs={"pk": worn.pk}),
        "report_new": reverse("report_new", kwargs={"pk": worn.pk}),
        "strip_events": reverse("strip_events", kwargs={"pk": worn.pk}),
        "application_page:to sign": reverse("application_page", kwargs={"pk": signs.pk}),
        "call_work": reverse("call_work", kwargs={"pk": CallItem.objects.earliest("id").pk}),
        "report_page": reverse("report_page", kwargs={"pk": SkinReport.objects.earliest("id").pk}),
        "messages": reverse("messages"),
        "messages:went": reverse("messages") + "?show=went&channel=sms",
        "message_texts": reverse("message_texts"),
        "message_texts:arabic": reverse("message_texts") + "?language=ar",
        "languages": reverse("languages"),
        **_text_pages(),
        **_sheet_pages(),
        "link_page": f"/{path}",
        "link_answer": f"/{path}skin/",
        "link_page:unknown": "/t/nobodys-link/",
        "stop_page": reverse("stop_page", kwargs={"token": "nobodys-link"}),
    }
