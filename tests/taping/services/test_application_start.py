"""A tape goes on record once, with the clinic's numbers of that day, and only where a screen permits it."""

from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import Any

import pytest

from clinic.models import Clinic, Event, User
from clinic.services.events import Actor
from taping.models import Application, SkinReport, StripPlan
from taping.services.applications import Shortening, TapingDetails, TapingRefused, application_start
from taping.services.plans import PlanChanged
from tests.factories import (
    ApplicationFactory,
    HelperFactory,
    ScreenFactory,
    StripFactory,
    StripPlanFactory,
    UserFactory,
    VisitFactory,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def plan(clinic: Clinic, now: datetime) -> StripPlan:
    made: StripPlan = StripPlanFactory()
    StripFactory(plan=made)
    return made


@pytest.fixture
def start(plan: StripPlan, now: datetime) -> Callable[..., Application]:
    def run(actor: User | None = None, **details: Any) -> Application:
        given = TapingDetails(**{"applied_at": now, **details})
        return application_start(actor=Actor(user=actor or plan.made_by), now=now, plan=plan, details=given)

    return run


def refusal(start: Callable[..., Application], **details: Any) -> tuple[str, str]:
    with pytest.raises(TapingRefused) as refused:
        start(**details)
    return refused.value.message, refused.value.field


def test_days_and_waits_are_copied_from_the_clinic(start: Callable[..., Application], clinic: Clinic) -> None:
    clinic.adhesion_minutes, clinic.water_minutes, clinic.wear_last_day = 30, 90, 6
    clinic.save()
    tape = start()
    assert (tape.adhesion_minutes, tape.water_minutes) == (30, 90)
    assert (tape.opens_on, tape.closes_on, tape.removal_day) == (
        date(2027, 3, 14),
        date(2027, 3, 16),
        date(2027, 3, 16),
    )


def test_water_never_comes_before_movement(start: Callable[..., Application], clinic: Clinic) -> None:
    clinic.adhesion_minutes, clinic.water_minutes = 60, 20
    clinic.save()
    assert start().water_minutes == 60


def test_first_tape_and_caution_are_noted(start: Callable[..., Application], plan: StripPlan) -> None:
    ApplicationFactory(patient=plan.screen.patient, region="elbow", ended_at=None)
    plan.screen.outcome = "clear_with_care"
    plan.screen.save()
    tape = start()
    assert (tape.first_application, tape.caution) == (False, True)


def test_event_names_the_tape_and_messages_are_stale(start: Callable[..., Application]) -> None:
    tape = start()
    tape.refresh_from_db()
    assert Event.objects.get(verb="application.started").subject_id == str(tape.pk)
    assert tape.plan_version > tape.planned_version


def test_time_to_come_is_refused(start: Callable[..., Application], now: datetime) -> None:
    text, field = refusal(start, applied_at=now + timedelta(seconds=1))
    assert field == "applied_at"
    assert text == "That time is still to come. Give the time at which the tape went on."


def test_late_entry_needs_a_reason(start: Callable[..., Application], plan: StripPlan, now: datetime) -> None:
    plan.screen.made_at = now - timedelta(hours=1)
    plan.screen.save()
    late = now - timedelta(minutes=15, seconds=1)
    assert refusal(start, applied_at=late)[1] == "late_reason"
    assert start(applied_at=late, late_reason="taped beside the pitch").late_reason == "taped beside the pitch"


@pytest.mark.parametrize("outcome", ["do_not_tape", "prepare_first", "unfinished"])
def test_screen_that_does_not_permit_is_refused(
    start: Callable[..., Application], plan: StripPlan, outcome: str
) -> None:
    plan.screen.outcome = outcome
    plan.screen.save()
    assert "The screen does not permit tape" in refusal(start)[0]


def test_screen_of_yesterday_is_refused(start: Callable[..., Application], plan: StripPlan, now: datetime) -> None:
    plan.screen.made_at = now - timedelta(days=1)
    plan.screen.save()
    assert "screen again on the day" in refusal(start)[0]


def test_second_tape_on_the_same_place_is_refused(start: Callable[..., Application], plan: StripPlan) -> None:
    ApplicationFactory(patient=plan.screen.patient)
    assert refusal(start)[0].startswith("There is tape on this place already.")


def test_other_knee_is_no_hindrance(start: Callable[..., Application], plan: StripPlan, now: datetime) -> None:
    other = ScreenFactory(patient=plan.screen.patient, side="right")
    ApplicationFactory(patient=plan.screen.patient, plan=StripPlanFactory(screen=other))
    assert start().side == "left"


def test_open_skin_report_of_the_place_is_refused(
    start: Callable[..., Application], plan: StripPlan, now: datetime
) -> None:
    worn = ApplicationFactory(patient=plan.screen.patient, ended_at=now, ended_how="skin")
    report = SkinReport.objects.create(
        patient=worn.patient, application=worn, reported_at=now, reported_by="patient", urgency="today"
    )
    assert "skin report of this place is still open" in refusal(start)[0]
    report.closed_at = now
    report.save()
    assert start().ended_at is None


def test_plan_without_strips_is_refused(start: Callable[..., Application], plan: StripPlan) -> None:
    plan.strips.all().delete()
    assert refusal(start) == ("There is no strip in this plan yet. Add the strip that is on the skin.", "")


def test_second_start_is_told_who_and_when(start: Callable[..., Application], plan: StripPlan) -> None:
    start()
    text, _ = refusal(start)
    assert text == f"{plan.made_by.full_name} already recorded this tape as on the skin at 10:00."
    assert Application.objects.count() == 1


def test_plan_changed_meanwhile_is_not_laid(start: Callable[..., Application], plan: StripPlan) -> None:
    with pytest.raises(PlanChanged):
        start(version=plan.version + 1)


def test_screen_that_speaks_against_home_wants_a_helper_or_the_clinic(
    start: Callable[..., Application], plan: StripPlan
) -> None:
    plan.screen.answers = {"blood_thinner": "yes"}
    plan.screen.save()
    assert refusal(start)[1] == "removal"
    assert start(removal="clinic").removal == "clinic"


def test_unanswered_removal_question_keeps_it_from_home(start: Callable[..., Application]) -> None:
    text, field = refusal(start, removal_answers={"cannot_see": None})
    assert field == "removal"
    assert "Not by the patient while this is not answered: Is the tape where the patient cannot see it?" in text


def test_helper_of_another_patient_is_refused(start: Callable[..., Application]) -> None:
    assert refusal(start, removal="helper", helper=HelperFactory())[1] == "helper"


def test_student_names_a_supervisor(start: Callable[..., Application]) -> None:
    student = UserFactory(student=True)
    assert refusal(start, actor=student)[1] == "supervisor"
    assert refusal(start, actor=student, supervisor=student)[1] == "supervisor"
    assert start(actor=student, supervisor=UserFactory()).countersigned_at is None


def test_shortening_moves_the_last_day_and_keeps_why(start: Callable[..., Application]) -> None:
    tape = start(shortening=Shortening(2, "thin skin"))
    assert (tape.opens_on, tape.closes_on, tape.removal_day) == (date(2027, 3, 12),) * 3
    assert tape.shortened_why == "thin skin"


@pytest.mark.parametrize(("last", "why", "field"), [(6, "holiday", "last_day"), (2, " ", "shorten_why")])
def test_nothing_lengthens_a_window(start: Callable[..., Application], last: int, why: str, field: str) -> None:
    assert refusal(start, shortening=Shortening(last, why))[1] == field


def test_removal_visit_already_booked_is_taken(
    start: Callable[..., Application], plan: StripPlan, now: datetime
) -> None:
    visit = VisitFactory(patient=plan.screen.patient, purpose="removal", starts_at=now + timedelta(days=4))
    tape = start()
    assert (tape.removal_visit, tape.removal_day) == (visit, date(2027, 3, 14))
