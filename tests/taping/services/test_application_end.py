"""The first ending of a tape stands; corrections keep the days from growing; a supervisor signs."""

from datetime import date, datetime, timedelta
from typing import Any

import pytest

from clinic.models import Clinic, Event
from clinic.services.events import Actor
from taping.models import Application
from taping.rules.removal import REMOVAL_QUESTIONS
from taping.services.applications import (
    Shortening,
    TapingRefused,
    application_change,
    application_countersign,
    application_end,
)
from tests.factories import ApplicationFactory, HelperFactory, UserFactory, VisitFactory

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)


@pytest.fixture
def tape(clinic: Clinic) -> Application:
    made: Application = ApplicationFactory()
    return made


@pytest.fixture
def actor(tape: Application) -> Actor:
    return Actor(user=tape.therapist)


def test_ending_keeps_the_time_it_came_off(tape: Application, actor: Actor, now: datetime) -> None:
    off = now + 3 * DAY
    ended = application_end(
        actor=actor, now=now + 4 * DAY, application=tape, how="off", ended_at=off, by="patient", note="no redness"
    )
    assert (ended.ended_at, ended.ended_how, ended.ended_by, ended.ending_note) == (off, "off", "patient", "no redness")
    assert Event.objects.filter(verb="application.ended", subject_id=str(tape.pk)).count() == 1


def test_first_ending_stands(tape: Application, actor: Actor, now: datetime) -> None:
    first = application_end(actor=actor, now=now + DAY, application=tape, how="off", ended_at=now + DAY, by="patient")
    second = application_end(
        actor=actor, now=now + 2 * DAY, application=tape, how="came_off", ended_at=now + 2 * DAY, by="helper"
    )
    assert (second.ended_at, second.ended_how, second.ended_by) == (first.ended_at, "off", "patient")
    assert Event.objects.filter(verb="application.ended").count() == 1


@pytest.mark.parametrize(
    ("off", "words"),
    [
        (timedelta(seconds=-1), "That is before the tape went on."),
        (DAY + timedelta(seconds=1), "That time is still to come."),
    ],
)
def test_impossible_ends_are_refused(
    tape: Application, actor: Actor, now: datetime, off: timedelta, words: str
) -> None:
    with pytest.raises(TapingRefused, match=words) as refused:
        application_end(actor=actor, now=now + DAY, application=tape, how="off", ended_at=now + off, by="patient")
    assert refused.value.field == "ended_at"


def test_unknown_ending_is_an_error(tape: Application, actor: Actor, now: datetime) -> None:
    with pytest.raises(ValueError, match="gone"):
        application_end(actor=actor, now=now, application=tape, how="gone", ended_at=now, by="patient")


def test_remover_is_changed(tape: Application, actor: Actor, now: datetime) -> None:
    helper = HelperFactory(patient=tape.patient)
    changed = application_change(actor=actor, now=now, application=tape, values={"removal": "helper", "helper": helper})
    assert (changed.removal, changed.helper) == ("helper", helper)
    assert Event.objects.get(verb="application.changed").fields == ["helper", "removal"]


def refused_change(tape: Application, actor: Actor, now: datetime, **values: Any) -> tuple[str, str]:
    with pytest.raises(TapingRefused) as refused:
        application_change(actor=actor, now=now, application=tape, values=values)
    before = (tape.removal, tape.helper)
    tape.refresh_from_db()
    assert (tape.removal, tape.helper) == before
    return refused.value.message, refused.value.field


def in_the_clinic(tape: Application, answers: dict[str, str]) -> Application:
    """The tape comes off in the clinic, and these were the answers at handing over."""
    tape.removal, tape.removal_answers = "clinic", answers
    tape.save()
    return tape


NO = {question.key: "no" for question in REMOVAL_QUESTIONS}


def test_helper_of_another_patient_is_refused_later_too(tape: Application, actor: Actor, now: datetime) -> None:
    words = refused_change(tape, actor, now, removal="helper", helper=HelperFactory())
    assert words == ("That helper belongs to another patient. Choose one of this patient's.", "helper")


def test_home_is_refused_later_where_the_screen_speaks_against_it(
    tape: Application, actor: Actor, now: datetime
) -> None:
    in_the_clinic(tape, {})
    tape.plan.screen.answers = {"blood_thinner": "yes"}
    tape.plan.screen.save()
    words = refused_change(tape, actor, now, removal="home")
    assert words == (
        "The skin screen speaks against taking it off at home. Choose a helper or the clinic.",
        "removal",
    )


@pytest.mark.parametrize("answer", ["yes", "not_known"])
@pytest.mark.parametrize("asked", [question.key for question in REMOVAL_QUESTIONS])
def test_home_is_refused_later_where_an_answer_speaks_against_it(
    tape: Application, actor: Actor, now: datetime, asked: str, answer: str
) -> None:
    text, field = refused_change(in_the_clinic(tape, {**NO, asked: answer}), actor, now, removal="home")
    assert text.startswith("Not by the patient")
    assert field == "removal"


def test_home_is_refused_later_while_a_question_is_open(tape: Application, actor: Actor, now: datetime) -> None:
    some = dict(list(NO.items())[1:])
    assert "not answered" in refused_change(in_the_clinic(tape, some), actor, now, removal="home")[0]


@pytest.mark.parametrize("answers", [NO, {}, {"thin_skin": None}])
def test_home_is_taken_later_where_nothing_speaks_against_it(
    tape: Application, actor: Actor, now: datetime, answers: dict[str, str]
) -> None:
    in_the_clinic(tape, answers)
    changed = application_change(actor=actor, now=now, application=tape, values={"removal": "home"})
    assert changed.removal == "home"


def test_a_name_that_cannot_be_changed_is_an_error(tape: Application, actor: Actor, now: datetime) -> None:
    with pytest.raises(ValueError, match="closes_on"):
        application_change(actor=actor, now=now, application=tape, values={"closes_on": date(2027, 4, 1)})


def test_window_is_shortened(tape: Application, actor: Actor, now: datetime) -> None:
    changed = application_change(
        actor=actor, now=now, application=tape, values={"shortening": Shortening(3, "itching began")}
    )
    assert (changed.opens_on, changed.closes_on, changed.removal_day) == (date(2027, 3, 13),) * 3
    assert changed.shortened_why == "itching began"


def test_shortening_past_the_removal_visit_is_refused(tape: Application, actor: Actor, now: datetime) -> None:
    tape.removal_visit = VisitFactory(patient=tape.patient, purpose="removal", starts_at=now + 5 * DAY)
    tape.save()
    with pytest.raises(TapingRefused, match="Move the visit first") as refused:
        application_change(actor=actor, now=now, application=tape, values={"shortening": Shortening(4, "thin skin")})
    assert refused.value.field == "last_day"


def test_shortening_keeps_a_removal_visit_that_fits(tape: Application, actor: Actor, now: datetime) -> None:
    tape.removal_visit = VisitFactory(patient=tape.patient, purpose="removal", starts_at=now + 4 * DAY)
    tape.removal_day = date(2027, 3, 14)
    tape.save()
    changed = application_change(
        actor=actor, now=now, application=tape, values={"shortening": Shortening(4, "thin skin")}
    )
    assert (changed.closes_on, changed.removal_day) == (date(2027, 3, 14), date(2027, 3, 14))


def test_time_is_corrected_within_the_day(tape: Application, actor: Actor, now: datetime) -> None:
    earlier = now - timedelta(hours=2)
    changed = application_change(
        actor=actor, now=now, application=tape, values={"applied_at": earlier}, why="read the wrong clock"
    )
    assert (changed.applied_at, changed.late_reason) == (earlier, "read the wrong clock")
    assert (changed.opens_on, changed.closes_on) == (tape.opens_on, tape.closes_on)


@pytest.mark.parametrize(
    ("shift", "why", "field"),
    [
        (timedelta(minutes=1), "typed wrong", "applied_at"),
        (timedelta(days=-1), "typed wrong", "applied_at"),
        (timedelta(hours=-1), " ", "late_reason"),
    ],
)
def test_times_that_cannot_be_are_refused(
    tape: Application, actor: Actor, now: datetime, shift: timedelta, why: str, field: str
) -> None:
    with pytest.raises(TapingRefused) as refused:
        application_change(actor=actor, now=now, application=tape, values={"applied_at": now + shift}, why=why)
    assert refused.value.field == field


def test_corrected_time_after_the_end_is_refused(tape: Application, actor: Actor, now: datetime) -> None:
    hour = timedelta(hours=1)
    application_end(actor=actor, now=now + hour, application=tape, how="off", ended_at=now + hour, by="patient")
    with pytest.raises(TapingRefused, match="after the tape came off"):
        application_change(
            actor=actor, now=now + 3 * hour, application=tape, values={"applied_at": now + 2 * hour}, why="wrong"
        )


def test_only_the_named_supervisor_signs_once(tape: Application, now: datetime) -> None:
    tape.supervisor = UserFactory()
    tape.save()
    with pytest.raises(TapingRefused, match="Only the supervisor"):
        application_countersign(actor=Actor(user=UserFactory()), now=now, application=tape)
    signed = application_countersign(actor=Actor(user=tape.supervisor), now=now, application=tape)
    again = application_countersign(actor=Actor(user=tape.supervisor), now=now + DAY, application=tape)
    assert signed.countersigned_at == again.countersigned_at == now
