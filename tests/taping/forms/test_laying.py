"""Handing over asks who takes the tape off, and reads times on the clinic's wall."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from clinic.models import Clinic, Helper, Patient, User
from taping.forms.laying import Asked, LayForm
from taping.models import SkinScreen
from taping.rules.removal import REMOVAL_QUESTIONS
from taping.rules.skin import Answer
from taping.rules.wear import ShorterWear, suggest_shorter
from tests.taping.screening import answers

NOON = datetime(2027, 3, 10, 17, 0, tzinfo=UTC)  # 12:00 in New York
CHILD = suggest_shorter(caution=False, child=True)
HELPER = Helper(pk=4, full_name="Hal Per")
ALL_NO: dict[str, Any] = {question.key: "no" for question in REMOVAL_QUESTIONS}


def form(
    *,
    now: datetime = NOON,
    made_at: datetime | None = None,
    staff: list[User] | None = None,
    shorter: ShorterWear | None = None,
    **data: Any,
) -> LayForm:
    asked = Asked(
        screen=SkinScreen(region="knee", side="left", answers=answers(), made_at=made_at or now - timedelta(hours=1)),
        patient=Patient(),
        clinic=Clinic(),
        now=now,
        helpers=[HELPER],
        staff=staff or [],
        shorter=shorter,
    )
    return LayForm({"removal": "clinic", **data}, asked=asked)


def details(made: LayForm) -> Any:
    assert made.is_valid(), made.errors
    return made.details()


def test_empty_time_is_now() -> None:
    assert details(form()).applied_at == NOON


@pytest.mark.parametrize("typed", ["11:20", "11:20:00", "11:20:00.000"])
def test_typed_time_is_the_clinics(typed: str) -> None:
    assert details(form(time=typed)).applied_at == NOON - timedelta(minutes=40)


def test_time_that_clocks_skip_is_refused() -> None:
    # New York goes from 02:00 to 03:00 on 14 March 2027 (IANA time zone database).
    made = form(now=datetime(2027, 3, 14, 16, 0, tzinfo=UTC), time="02:30")
    assert not made.is_valid()
    assert "does not exist in America/New_York" in made.errors["time"][0]


def test_time_that_happens_twice_is_refused_with_both_readings() -> None:
    # New York goes from 02:00 back to 01:00 on 7 November 2027.
    made = form(now=datetime(2027, 11, 7, 16, 0, tzinfo=UTC), time="01:30")
    assert not made.is_valid()
    assert "2027-11-07T05:30Z or 2027-11-07T06:30Z" in made.errors["time"][0]


@pytest.mark.parametrize(
    ("seconds", "applied_at"),
    [(40, NOON - timedelta(minutes=1) + timedelta(seconds=40)), (0, NOON - timedelta(minutes=1))],
)
def test_minute_of_the_screen_begins_with_it(seconds: int, applied_at: datetime) -> None:
    made_at = NOON - timedelta(minutes=1) + timedelta(seconds=seconds)
    assert details(form(made_at=made_at, time="11:59")).applied_at == applied_at


def test_earlier_minute_is_left_as_typed() -> None:
    made_at = NOON - timedelta(minutes=1)
    assert details(form(made_at=made_at, time="11:58")).applied_at == NOON - timedelta(minutes=2)


def test_home_wants_every_question_answered() -> None:
    made = form(removal="home")
    assert not made.is_valid()
    open_keys = [question.key for question in REMOVAL_QUESTIONS]
    assert sorted(made.errors) == sorted(open_keys)
    assert details(form(removal="home", **ALL_NO)).removal_answers == dict.fromkeys(ALL_NO, Answer.NO)


@pytest.mark.parametrize("removal", ["clinic", "helper"])
def test_questions_may_stay_open_elsewhere(removal: str) -> None:
    found = details(form(removal=removal, helper="4"))
    assert set(found.removal_answers.values()) == {None}
    assert found.helper == (HELPER if removal == "helper" else None)


def test_screen_answers_stand_in_the_form_already() -> None:
    made = form()
    assert {question.key: made[question.key].initial for question in REMOVAL_QUESTIONS if question.screen} == {
        "child": "no",
        "torn_skin": "no",
        "thin_skin": "no",
        "blood_thinner": "no",
        "long_term_steroids": "no",
        "reduced_feeling": "no",
    }


def test_what_the_screen_does_not_say_is_not_answered_beforehand() -> None:
    made = form()
    assert {made[question.key].initial for question in REMOVAL_QUESTIONS if not question.screen} == {None}


@pytest.mark.parametrize("helper", ["", "99", "x"])
def test_helper_is_one_of_the_patients(helper: str) -> None:
    made = form(removal="helper", helper=helper)
    assert not made.is_valid()
    assert list(made.errors) == ["helper"]


def test_days_offered_only_shorten() -> None:
    days = [value for value, _ in form().fields["last_day"].choices]  # type: ignore[attr-defined]
    assert days == ["", 1, 2, 3, 4]
    assert ("", "the usual last day, Mon 15 Mar 2027") in form().fields["last_day"].choices  # type: ignore[attr-defined]


def test_shortening_goes_with_its_reason() -> None:
    found = details(form(last_day="2", shorten_why="thin skin")).shortening
    assert (found.last_day, found.why) == (2, "thin skin")
    assert details(form(shorten_why="thin skin")).shortening is None


def test_proposed_shorter_wear_asks_for_the_last_day() -> None:
    made = form(shorter=CHILD)
    assert made["last_day"].initial is None
    assert [value for value, _ in made.fields["last_day"].choices] == [1, 2, 3, 4, "usual"]  # type: ignore[attr-defined]
    assert made.errors == {"last_day": ["Choose the last day: a shorter wear is proposed for this patient."]}


def test_usual_day_may_be_chosen_against_the_proposal() -> None:
    assert details(form(shorter=CHILD, last_day="usual")).shortening is None


def test_day_chosen_after_the_proposal_needs_its_reason() -> None:
    assert list(form(shorter=CHILD, last_day="2").errors) == ["shorten_why"]
    found = details(form(shorter=CHILD, last_day="2", shorten_why="a child")).shortening
    assert (found.last_day, found.why) == (2, "a child")


@pytest.mark.parametrize("chosen", ["0", "5", "none"])
def test_days_that_are_not_offered_are_refused(chosen: str) -> None:
    assert list(form(shorter=CHILD, last_day=chosen).errors) == ["last_day"]


def test_without_a_proposal_the_usual_day_is_the_default() -> None:
    assert details(form()).shortening is None
    assert list(form(last_day="usual").errors) == ["last_day"]


def test_supervisor_is_asked_only_where_one_is_needed() -> None:
    supervisor = User(pk=3, full_name="Super Visor")
    assert "supervisor" not in form().fields
    assert list(form(staff=[supervisor]).errors) == ["supervisor"]
    assert details(form(staff=[supervisor], supervisor="3")).supervisor is supervisor


@pytest.mark.parametrize(
    ("name", "longest"), [("posture", 200), ("reason", 300), ("late_reason", 300), ("shorten_why", 300)]
)
def test_texts_fit_their_columns(name: str, longest: int) -> None:
    fits: dict[str, Any] = {name: "x" * longest}
    too_long: dict[str, Any] = {name: "x" * (longest + 1)}
    assert form(**fits).is_valid()
    assert list(form(**too_long).errors) == [name]
