"""What the taping pages read."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from clinic.models import Clinic, Patient
from taping import selectors
from taping.models import Application
from taping.rules.wear_state import TapeState
from tests.factories import (
    ApplicationFactory,
    PatientFactory,
    ScreenFactory,
    StripFactory,
    StripPlanFactory,
    VisitFactory,
)

pytestmark = pytest.mark.django_db

ZONE = ZoneInfo("America/New_York")
DAY = timedelta(days=1)


@pytest.fixture
def tape(clinic: Clinic) -> Application:
    made: Application = ApplicationFactory()
    return made


@pytest.mark.parametrize(
    ("after", "state"),
    [
        (timedelta(minutes=19, seconds=59), TapeState.SETTING),
        (timedelta(minutes=20), TapeState.ON),
        (4 * DAY, TapeState.ON),
        (5 * DAY, TapeState.DUE),
        (6 * DAY, TapeState.OVERDUE),
    ],
)
def test_state_follows_the_clinics_days(tape: Application, now: datetime, after: timedelta, state: TapeState) -> None:
    assert selectors.state_of(tape, now=now + after, zone=ZONE) is state


def test_ended_tape_is_off_and_no_longer_on_the_skin(tape: Application, now: datetime) -> None:
    other = ApplicationFactory(ended_at=now, ended_how="off")
    assert selectors.state_of(other, now=now, zone=ZONE) is TapeState.OFF
    assert list(selectors.on_skin()) == [tape]


def test_last_like_is_of_the_same_place_and_person(tape: Application, now: datetime) -> None:
    older = ApplicationFactory(patient=tape.patient, applied_at=now - 9 * DAY, ended_at=now - 5 * DAY, ended_how="off")
    ApplicationFactory()
    assert selectors.last_like(tape.patient, "knee", "left") == tape
    assert selectors.last_like(tape.patient, "knee", "right") is None
    assert list(selectors.of_patient(tape.patient)) == [tape, older]


def test_last_like_brings_its_strips_in_order(tape: Application) -> None:
    StripFactory(plan=tape.plan, position=2)
    StripFactory(plan=tape.plan, position=1)
    last = selectors.last_like(tape.patient, "knee", "left")
    assert last is not None
    assert [strip.position for strip in last.plan.strips.all()] == [1, 2]


def test_taped_before_is_the_last_of_each_place_that_is_free(tape: Application, now: datetime) -> None:
    def ended(days: int, side: str, patient: Patient = tape.patient) -> Application:
        at = now - timedelta(days=days)
        screen = ScreenFactory(patient=patient, side=side, made_at=at)
        plan = StripPlanFactory(screen=screen)
        made: Application = ApplicationFactory(
            plan=plan, patient=patient, applied_at=at, ended_at=at + timedelta(days=4), ended_how="off"
        )
        return made

    assert tape.ended_at is None
    ended(20, "left")
    ended(30, "right")
    last_right = ended(12, "right")
    ended(5, "right", PatientFactory())
    assert selectors.taped_before(tape.patient) == [last_right]
    Application.objects.filter(pk=tape.pk).update(ended_at=now, ended_how="off")
    assert selectors.taped_before(tape.patient) == [tape, last_right]


def test_screen_of_today_is_of_the_clinics_day(clinic: Clinic, now: datetime) -> None:
    patient = PatientFactory()
    midnight = datetime(2027, 3, 10, tzinfo=ZONE)
    ScreenFactory(patient=patient, made_at=midnight - timedelta(seconds=1))
    assert selectors.screen_of_today(patient, now=now, zone=ZONE) is None
    first = ScreenFactory(patient=patient, made_at=midnight)
    assert selectors.screen_of_today(patient, now=now, zone=ZONE) == first
    assert selectors.screen_of_today(PatientFactory(), now=now, zone=ZONE) is None


def test_visit_of_today_prefers_who_has_arrived(clinic: Clinic, now: datetime) -> None:
    patient = PatientFactory()
    hour = timedelta(hours=1)
    VisitFactory(patient=patient, starts_at=now - hour, state="cancelled")
    VisitFactory(patient=patient, starts_at=now + DAY)
    assert selectors.visit_of_today(patient, now=now, zone=ZONE) is None
    booked = VisitFactory(patient=patient, starts_at=now + hour)
    assert selectors.visit_of_today(patient, now=now, zone=ZONE) == booked
    arrived = VisitFactory(patient=patient, starts_at=now + 2 * hour, state="arrived")
    assert selectors.visit_of_today(patient, now=now, zone=ZONE) == arrived


def test_worn_and_open_reports_are_the_patients_own(tape: Application, now: datetime) -> None:
    stranger = PatientFactory()
    tape.skin_reports.create(patient=tape.patient, reported_at=now, reported_by="patient", urgency="today")
    assert selectors.worn_at(tape.patient, "knee", "left") == tape
    assert selectors.worn_at(stranger, "knee", "left") is None
    assert [report.application for report in selectors.reports_open(tape.patient)] == [tape]
    assert list(selectors.reports_open(stranger)) == []


def test_plan_comes_with_its_strips_in_order(clinic: Clinic) -> None:
    plan = StripPlanFactory()
    StripFactory(plan=plan, position=2)
    StripFactory(plan=plan, position=1)
    found = selectors.plan_get(plan.pk)
    assert found is not None
    assert [strip.position for strip in found.strips.all()] == [1, 2]
    assert selectors.plan_get(plan.pk + 1) is None
