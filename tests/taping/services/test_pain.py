"""Pain scores are kept with their time and who asked; a correction keeps what it corrects."""

from datetime import datetime, timedelta

import pytest

from clinic.models import Clinic, Event
from clinic.services.events import Actor
from taping.models import Application, PainScore
from taping.services.pain import pain_record
from taping.services.refusals import TapingRefused
from tests.factories import ApplicationFactory, StripPlanFactory, UserFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def tape(clinic: Clinic) -> Application:
    made: Application = ApplicationFactory()
    return made


@pytest.fixture
def actor(tape: Application) -> Actor:
    return Actor(user=tape.therapist)


def scores() -> list[tuple[str, int | None, str]]:
    return list(PainScore.objects.order_by("id").values_list("moment", "score", "why"))


def test_score_keeps_its_time_and_who_asked(tape: Application, actor: Actor, now: datetime) -> None:
    row = pain_record(actor=actor, now=now, plan=tape.plan, moment="before", score=6)
    assert (row.plan, row.moment, row.score, row.said_at, row.asked_by) == (
        tape.plan,
        "before",
        6,
        now,
        tape.therapist,
    )
    event = Event.objects.get(verb="pain.recorded")
    assert (event.patient, event.fields) == (tape.patient, ["moment", "score"])


def test_no_event_holds_a_score(tape: Application, actor: Actor, now: datetime) -> None:
    pain_record(actor=actor, now=now, plan=tape.plan, moment="before", score=7)
    assert "7" not in str(Event.objects.values_list("fields", "verb", "actor_word").get())


def test_pain_before_is_asked_while_the_tape_is_only_planned(actor: Actor, now: datetime) -> None:
    plan = StripPlanFactory()
    pain_record(actor=actor, now=now, plan=plan, moment="before", score=0)
    assert scores() == [("before", 0, "")]


@pytest.mark.parametrize("moment", ["after", "next"])
def test_pain_after_is_refused_before_there_is_tape(actor: Actor, now: datetime, moment: str) -> None:
    with pytest.raises(TapingRefused, match="once it is on the skin"):
        pain_record(actor=actor, now=now, plan=StripPlanFactory(), moment=moment, score=3)
    assert scores() == []


def test_the_same_answer_twice_is_one(tape: Application, actor: Actor, now: datetime) -> None:
    for _ in range(2):
        pain_record(actor=actor, now=now, plan=tape.plan, moment="next", score=2)
    assert scores() == [("next", 2, "")]
    assert Event.objects.filter(verb="pain.recorded").count() == 1


def test_another_answer_needs_a_reason_and_keeps_the_first(tape: Application, actor: Actor, now: datetime) -> None:
    pain_record(actor=actor, now=now, plan=tape.plan, moment="after", score=2)
    with pytest.raises(TapingRefused, match="Say why the score is corrected") as refused:
        pain_record(actor=actor, now=now, plan=tape.plan, moment="after", score=5, why="  ")
    assert refused.value.field == "why"
    colleague = Actor(user=UserFactory())
    later = now + timedelta(minutes=4)
    pain_record(actor=colleague, now=later, plan=tape.plan, moment="after", score=5, why=" wrong button ")
    assert scores() == [("after", 2, ""), ("after", 5, "wrong button")]
    assert Event.objects.get(verb="pain.corrected").actor == colleague.user


def test_not_asked_gives_way_to_an_answer_without_a_reason(tape: Application, actor: Actor, now: datetime) -> None:
    pain_record(actor=actor, now=now, plan=tape.plan, moment="before", score=None)
    pain_record(actor=actor, now=now, plan=tape.plan, moment="before", score=4)
    assert scores() == [("before", None, ""), ("before", 4, "")]


def test_an_answer_gives_way_to_not_asked_only_with_a_reason(tape: Application, actor: Actor, now: datetime) -> None:
    pain_record(actor=actor, now=now, plan=tape.plan, moment="before", score=4)
    with pytest.raises(TapingRefused, match="Say why"):
        pain_record(actor=actor, now=now, plan=tape.plan, moment="before", score=None)


@pytest.mark.parametrize("score", [-1, 11])
def test_a_number_off_the_scale_is_refused(tape: Application, actor: Actor, now: datetime, score: int) -> None:
    with pytest.raises(TapingRefused, match="from 0 to 10") as refused:
        pain_record(actor=actor, now=now, plan=tape.plan, moment="before", score=score)
    assert refused.value.field == "score"


def test_an_unknown_moment_is_refused(tape: Application, actor: Actor, now: datetime) -> None:
    with pytest.raises(TapingRefused, match="Choose when"):
        pain_record(actor=actor, now=now, plan=tape.plan, moment="sometime", score=1)


def test_a_reason_that_is_too_long_is_refused(tape: Application, actor: Actor, now: datetime) -> None:
    pain_record(actor=actor, now=now, plan=tape.plan, moment="before", score=4)
    with pytest.raises(TapingRefused, match="longer than 300 letters"):
        pain_record(actor=actor, now=now, plan=tape.plan, moment="before", score=5, why="x" * 301)


def test_a_score_moves_no_message(tape: Application, actor: Actor, now: datetime) -> None:
    before = tape.plan_version
    pain_record(actor=actor, now=now, plan=tape.plan, moment="after", score=9)
    tape.refresh_from_db()
    assert tape.plan_version == before
