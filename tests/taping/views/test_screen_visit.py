"""One visit with several places: the person is asked once, the skin each time, and what changes is not overlooked."""

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client

from clinic.models import Patient, User
from taping.models import Application, SkinScreen, StripPlan
from taping.rules.skin_person import PERSON_KEYS
from tests.factories import (
    PatientFactory,
    ScreenFactory,
    StripFactory,
    StripPlanFactory,
    UserFactory,
    VisitFactory,
)
from tests.taping.screening import answers
from tests.taping.views.test_slice import HOME, STRIP

SignedIn = Callable[..., tuple[Client, User]]
WHY = "at the pitch side"


@pytest.fixture(autouse=True)
def _at_ten(now: datetime) -> Iterator[None]:
    with time_machine.travel(now, tick=False):
        yield


@pytest.fixture
def patient(db: None) -> Patient:
    made: Patient = PatientFactory()
    return made


@pytest.fixture
def therapist(signed_in: SignedIn) -> Client:
    return signed_in()[0]


def address(patient: Patient, side: str = "left", more: str = "") -> str:
    return f"/patients/{patient.pk}/screen/?region=knee&side={side}{more}"


def screened(client: Client, patient: Patient, side: str = "left", more: str = "", **given: str) -> Any:
    return client.post(address(patient, side, more), {**answers(), **given})


def minutes_later(now: datetime, minutes: int) -> Any:
    return time_machine.travel(now + timedelta(minutes=minutes), tick=False)


def test_second_place_shows_who_asked_the_person_and_stores_the_answers(therapist: Client, patient: Patient) -> None:
    screened(therapist, patient)
    response = therapist.get(address(patient, "right"))
    assert set(response.context["form"].typed()) == PERSON_KEYS
    assert "asked today at 10:00 for the left knee" in response.content.decode()
    screened(therapist, patient, "right")
    assert set(SkinScreen.objects.get(side="right").answers) >= PERSON_KEYS


def test_another_visit_of_the_day_asks_again(therapist: Client, patient: Patient, now: datetime) -> None:
    ScreenFactory(patient=patient, side="right", answers=answers())
    VisitFactory(patient=patient, starts_at=now + timedelta(minutes=5))
    assert therapist.get(address(patient)).context["form"].typed() == {}


def test_person_can_be_asked_again(therapist: Client, patient: Patient) -> None:
    screened(therapist, patient)
    posted = therapist.post(address(patient, "right"), {**answers(rash="yes"), "do": "ask_again"})
    typed = posted.context["form"].typed()
    assert not PERSON_KEYS & set(typed)
    assert typed["rash"] == "yes"


def test_changed_answer_puts_the_untaped_screen_out_of_date(therapist: Client, patient: Patient, now: datetime) -> None:
    screened(therapist, patient, goal="ease_pain")
    first = SkinScreen.objects.get()
    plan = StripPlanFactory(screen=first)
    StripFactory(plan=plan, position=1)
    with minutes_later(now, 20):
        screened(therapist, patient, "right", diabetes="yes", note="feels the touch")
        page = therapist.get(f"/screens/{first.pk}/").content.decode()
        assert "Out of date." in page
        assert "Screen the left knee anew" in page
        laid = therapist.post(f"/plans/{plan.pk}/on-the-skin/", {**HOME, "version": plan.version})
        assert "This screen is out of date. Record it anew" in laid.content.decode()
        assert Application.objects.count() == 0


def test_plan_goes_on_from_the_new_screen(therapist: Client, patient: Patient, now: datetime) -> None:
    screened(therapist, patient, goal="ease_pain")
    plan = StripPlanFactory(screen=SkinScreen.objects.get())
    StripFactory(plan=plan, position=1)
    with minutes_later(now, 20):
        again = screened(therapist, patient, goal="ease_pain")
        begun = therapist.post(f"{again['Location']}plan/")
    plan.refresh_from_db()
    assert begun["Location"] == f"/plans/{plan.pk}/"
    assert (plan.screen, StripPlan.objects.count()) == (SkinScreen.objects.latest("id"), 1)


def test_hold_found_later_forbids_the_earlier_plan(therapist: Client, patient: Patient, now: datetime) -> None:
    screened(therapist, patient, goal="ease_pain")
    plan = StripPlanFactory(screen=SkinScreen.objects.get())
    StripFactory(plan=plan, position=1)
    with minutes_later(now, 20):
        screened(therapist, patient, rash="yes")
        laid = therapist.post(f"/plans/{plan.pk}/on-the-skin/", {**HOME, "version": plan.version})
    assert "screened this place again at 10:20" in laid.content.decode()
    assert Application.objects.count() == 0


def test_several_places_are_asked_one_after_the_other(therapist: Client, patient: Patient) -> None:
    places = f"/patients/{patient.pk}/screen/?several=1&place=knee.left&place=knee.right"
    assert therapist.get(places).content.decode().count("checked") == 2
    begun: Any = therapist.get(f"{places}&go=1")
    assert begun["Location"] == f"/patients/{patient.pk}/screen/?region=knee&side=left&then=knee.right"
    first = therapist.post(begun["Location"], answers())
    assert first["Location"] == f"/patients/{patient.pk}/screen/?region=knee&side=right"
    assert "is recorded: clear. Next: right knee." in therapist.get(first["Location"]).content.decode()


def test_hold_is_shown_before_the_next_place(therapist: Client, patient: Patient) -> None:
    held = screened(therapist, patient, more="&then=knee.right", rash="yes")
    page = therapist.get(held["Location"]).content.decode()
    assert "Go on: screen the right knee" in page


@pytest.mark.parametrize("chosen", ["", "&place=tail.left", "&place=knee", "&place=knee.midline"])
def test_no_place_chosen_is_said(therapist: Client, patient: Patient, chosen: str) -> None:
    response = therapist.get(f"/patients/{patient.pk}/screen/?several=1&go=1{chosen}")
    assert (response.status_code, "No place is chosen." in response.content.decode()) == (422, True)


def test_evening_is_entered_the_next_morning(therapist: Client, patient: Patient, now: datetime) -> None:
    yesterday = (now - timedelta(days=1)).date().isoformat()
    asked = screened(therapist, patient, made_on=yesterday, made_at="21:40", late_reason=WHY)
    begun = therapist.post(f"{asked['Location']}plan/", {"late": "1"})
    therapist.post(begun["Location"], {**STRIP, "do": "add", "version": "1"})
    nothing = therapist.post(f"{begun['Location']}on-the-skin/", {**HOME, "version": "2"})
    assert "Give the time of that day at which" in nothing.content.decode()
    laid = therapist.post(
        f"{begun['Location']}on-the-skin/", {**HOME, "version": "2", "time": "21:50", "late_reason": WHY}
    )
    tape, screen = Application.objects.get(), SkinScreen.objects.get()
    assert laid.status_code == 302
    assert (screen.made_at, screen.saved_at) == (now - timedelta(hours=12, minutes=20), now)
    assert (tape.applied_at, tape.saved_at, tape.late_reason) == (now - timedelta(hours=12, minutes=10), now, WHY)


@pytest.mark.parametrize(
    ("days", "more", "field"),
    [
        (3, {"made_at": "09:00"}, "made_on"),
        (1, {}, "made_at"),
        (1, {"made_at": "09:00", "late_reason": ""}, "late_reason"),
    ],
)
def test_what_is_too_late_or_half_said_is_refused_and_kept(
    therapist: Client, patient: Patient, now: datetime, days: int, more: dict[str, str], field: str
) -> None:
    day = (now - timedelta(days=days)).date().isoformat()
    response = screened(therapist, patient, **{"made_on": day, "late_reason": WHY, **more})
    assert (response.status_code, list(response.context["form"].errors)) == (422, [field])
    assert SkinScreen.objects.count() == 0


def test_not_taped_takes_a_reason_and_ends_the_screen(therapist: Client, patient: Patient) -> None:
    shown = screened(therapist, patient)["Location"]
    assert "Mark as not taped" in therapist.get(shown).content.decode()
    assert "Say why this patient is not taped." in therapist.post(f"{shown}not-taped/", follow=True).content.decode()
    therapist.post(f"{shown}not-taped/", {"why": "went home"})
    screen = SkinScreen.objects.get()
    assert (screen.not_taped_why, screen.not_taped_at is not None) == ("went home", True)
    assert "went home" in therapist.get(shown).content.decode()
    assert therapist.post(f"{shown}plan/")["Location"] == shown
    assert screen.plans.count() == 0


@pytest.mark.parametrize("rash", ["no", "yes"])
def test_students_screen_waits_for_its_supervisor(signed_in: SignedIn, patient: Patient, rash: str) -> None:
    student, _ = signed_in("student")
    supervisor = UserFactory(full_name="Sula Pervis")
    once = "5f2b7a0e-8a55-4c5c-9d2e-0a3d6f1c7b11"
    refused = screened(student, patient, rash=rash, once=once)
    assert (refused.status_code, "supervisor" in refused.context["form"].errors) == (422, True)
    shown = screened(student, patient, rash=rash, once=once, supervisor=str(supervisor.pk))["Location"]
    assert "Waits for the signature of <bdi>Sula Pervis" in student.get(shown).content.decode()
    assert student.post(f"{shown}sign/").status_code == 403
    signer = Client()
    signer.force_login(supervisor, backend="django.contrib.auth.backends.ModelBackend")
    assert "skin screens to sign" in signer.get("/").content.decode()
    signer.post(f"{shown}sign/")
    assert SkinScreen.objects.get().countersigned_at is not None
    assert "skin screens to sign" not in signer.get("/").content.decode()


def test_hold_has_a_sheet_to_print(therapist: Client, patient: Patient) -> None:
    shown = screened(therapist, patient, hot_joint="yes", note="sent on")["Location"]
    assert f'href="{shown}sheet/"' in therapist.get(shown).content.decode()
    sheet = therapist.get(f"{shown}sheet/").content.decode()
    for words in ("Do not tape.", "To be seen today: a doctor.", "Is a joint here hot and swollen?", "sent on"):
        assert words in sheet
