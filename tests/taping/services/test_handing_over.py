"""Who takes the tape off, settled at handing over; and the patient said it back."""

from datetime import timedelta
from typing import Any

import pytest

from clinic.models import Clinic, Event, User
from clinic.services.events import Actor
from taping.models import Application
from taping.rules.removal import REMOVAL_QUESTIONS
from taping.rules.skin import Answer
from taping.services.applications import TapingDetails, application_start
from taping.services.handing_over import hand_over, remover_settle, said_before, screen_says
from taping.services.refusals import TapingRefused
from tests.factories import (
    ApplicationFactory,
    HelperFactory,
    ScreenFactory,
    StripFactory,
    StripPlanFactory,
    UserFactory,
)
from tests.factories.clinic import NOW

pytestmark = pytest.mark.django_db
OF_SCREEN = {
    "child": "no", "skin_tears": "no", "fragile_skin": "no", "blood_thinner": "no", "bleeding_disorder": "no",
    "long_term_steroids": "no", "reduced_feeling": "no",
}  # fmt: skip
LEFT = [question.key for question in REMOVAL_QUESTIONS if not question.screen]
ALL_NO: dict[str, Answer | None] = dict.fromkeys(LEFT, Answer.NO)


def open_tape(**answers: str) -> Application:
    tape: Application = ApplicationFactory(removal="clinic", remover_open=True)
    tape.plan.screen.answers = OF_SCREEN | answers
    tape.plan.screen.save()
    return tape


def settle(tape: Application, removal: str = "home", **more: Any) -> Application:
    actor = Actor(user=UserFactory())
    return remover_settle(actor=actor, now=NOW, application=tape, removal=removal, **({"answers": ALL_NO} | more))


def test_a_tape_recorded_without_a_remover_names_the_clinic_and_leaves_it_open(clinic: Clinic) -> None:
    therapist: User = UserFactory()
    plan = StripPlanFactory(screen=ScreenFactory(answers=OF_SCREEN))
    StripFactory(plan=plan)
    tape = application_start(
        actor=Actor(user=therapist), now=NOW, plan=plan, details=TapingDetails(applied_at=NOW, removal=None)
    )
    assert (tape.removal, tape.remover_open, tape.handed_over_at) == ("clinic", True, None)


def test_no_to_every_question_lets_the_patient_do_it() -> None:
    tape = open_tape()
    before = tape.plan_version
    settled = settle(tape)
    settled.refresh_from_db()
    assert (settled.removal, settled.remover_open) == ("home", False)
    assert settled.plan_version == before + 1
    assert said_before(settled) == dict.fromkeys([question.key for question in REMOVAL_QUESTIONS], Answer.NO)


@pytest.mark.parametrize("answer", [Answer.YES, Answer.NOT_KNOWN, None])
@pytest.mark.parametrize("key", LEFT)
def test_one_yes_not_known_or_gap_keeps_it_from_the_patient(key: str, answer: Answer | None) -> None:
    tape = open_tape()
    with pytest.raises(TapingRefused, match="Choose a helper or the clinic"):
        settle(tape, answers=ALL_NO | {key: answer})
    tape.refresh_from_db()
    assert (tape.removal, tape.remover_open) == ("clinic", True)


@pytest.mark.parametrize("key", sorted(OF_SCREEN))
def test_what_the_screen_found_stands_whatever_is_answered_now(key: str) -> None:
    tape = open_tape(**{key: "yes"})
    with pytest.raises(TapingRefused):
        settle(tape)


def test_a_later_answer_replaces_an_earlier_one_of_handing_over() -> None:
    tape = open_tape()
    settle(tape, "clinic", answers={"cannot_see": Answer.YES})
    tape.refresh_from_db()
    with pytest.raises(TapingRefused):
        settle(tape, answers=ALL_NO | {"cannot_see": None})
    assert settle(tape).removal == "home"


def test_a_helper_of_this_patient_takes_it_off() -> None:
    tape = open_tape(child="yes")
    helper = HelperFactory(patient=tape.patient)
    settled = settle(tape, "helper", answers={}, helper=helper)
    assert (settled.removal, settled.helper, settled.remover_open) == ("helper", helper, False)
    assert settle(settled, "clinic", answers={}, helper=helper).helper is None


def test_a_helper_must_be_named_and_be_this_patients() -> None:
    tape = open_tape()
    with pytest.raises(TapingRefused) as missing:
        settle(tape, "helper")
    assert missing.value.field == "helper"
    with pytest.raises(TapingRefused, match="another patient"):
        settle(tape, "helper", helper=HelperFactory())


def test_saying_the_same_again_changes_nothing() -> None:
    tape = open_tape()
    settle(tape)
    events = Event.objects.count()
    version = Application.objects.get().plan_version
    settle(tape)
    assert (Event.objects.count(), Application.objects.get().plan_version) == (events, version)


def test_a_tape_that_is_off_is_settled_no_more() -> None:
    tape = open_tape()
    Application.objects.update(ended_at=NOW + timedelta(minutes=1), ended_how="off")
    with pytest.raises(TapingRefused, match="off already"):
        settle(tape)


def over(tape: Application, **more: Any) -> Application:
    return hand_over(
        actor=Actor(user=UserFactory()), now=more.pop("now", NOW), application=tape, **({"said_back": True} | more)
    )


def test_that_the_patient_said_it_back_is_on_record_once() -> None:
    tape = settle(open_tape())
    first = over(tape)
    again = over(tape, now=NOW + timedelta(hours=1), said_back=False, not_said_why="later")
    assert (again.handed_over_at, again.handed_over_by) == (NOW, first.handed_over_by)
    assert (again.said_back, again.not_said_why) == (True, "")
    event = Event.objects.get(verb="application.handed_over")
    assert (event.subject_id, event.fields) == (str(tape.pk), [])


def test_not_said_back_needs_a_reason() -> None:
    tape = settle(open_tape())
    with pytest.raises(TapingRefused) as refused:
        over(tape, said_back=False, not_said_why="  ")
    assert refused.value.field == "said_back"
    done = over(tape, said_back=False, not_said_why=" speaks through a relative ")
    assert (done.said_back, done.not_said_why) == (False, "speaks through a relative")


def test_handing_over_waits_for_who_takes_it_off() -> None:
    with pytest.raises(TapingRefused, match="Settle first"):
        over(open_tape())


def test_what_the_screen_says_is_told_apart_from_what_was_asked() -> None:
    tape = open_tape(fragile_skin="yes")
    settle(tape, "clinic", answers={"cannot_see": Answer.NO})
    tape.refresh_from_db()
    assert screen_says(tape)["thin_skin"] is Answer.YES
    assert "cannot_see" not in screen_says(tape)
    assert said_before(tape)["cannot_see"] is Answer.NO
