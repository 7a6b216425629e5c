"""When a patch test may be done here, and when it is read."""

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from taping.rules.clock import ClockError
from taping.rules.skin import QUESTIONS, Answer, AnswerError
from taping.rules.skin_patch import NEVER_SAFE, patch_reading_times, patch_test_allowed
from taping.rules.skin_questions import QUESTION_BY_KEY

ALL_NO = {question.key: Answer.NO for question in QUESTIONS}
SEVERE = ["adhesive_allergy", "earlier_blistering", "earlier_spreading", "earlier_general"]
MILD = ["mild_reaction_tape", "mild_reaction_plaster", "reaction_nail_gel", "reaction_sensor_glue"]


@pytest.mark.parametrize("key", MILD)
def test_a_mild_earlier_reaction_allows_a_patch_test_that_never_means_safe(key: str) -> None:
    rule = patch_test_allowed({**ALL_NO, key: Answer.YES})
    assert rule.allowed
    assert rule.reasons == (
        "A mild earlier reaction.",
        QUESTION_BY_KEY[key].text,
        "By the therapist, read 48 to 72 hours after it went on.",
        NEVER_SAFE,
    )
    assert NEVER_SAFE == "A negative patch test does not show that tape is safe."


@pytest.mark.parametrize("key", SEVERE)
def test_after_a_severe_reaction_there_is_never_a_patch_test_here(key: str) -> None:
    rule = patch_test_allowed({**ALL_NO, "mild_reaction_tape": Answer.YES, key: Answer.YES})
    assert not rule.allowed
    assert rule.reasons == (
        "Never here after a severe reaction; a skin doctor or allergist tests.",
        QUESTION_BY_KEY[key].text,
    )


@pytest.mark.parametrize("key", SEVERE)
@pytest.mark.parametrize("answer", [None, Answer.NOT_KNOWN])
def test_a_severe_reaction_must_be_ruled_out_first(key: str, answer: Answer | None) -> None:
    rule = patch_test_allowed({**ALL_NO, "mild_reaction_tape": Answer.YES, key: answer})
    assert not rule.allowed
    assert rule.reasons == ("Not before severe reactions are ruled out.", QUESTION_BY_KEY[key].text)


@pytest.mark.parametrize("answer", [Answer.NO, Answer.NOT_KNOWN, None])
def test_without_a_mild_reaction_there_is_nothing_to_test(answer: Answer | None) -> None:
    rule = patch_test_allowed({**ALL_NO, "mild_reaction_tape": answer})
    assert not rule.allowed
    assert rule.reasons == ("Only after a mild earlier reaction, and none is answered yes.",)


def test_a_latex_allergy_is_no_reason_for_a_patch_test_of_the_adhesive() -> None:
    assert not patch_test_allowed({**ALL_NO, "latex_allergy": Answer.YES}).allowed


def test_reading_times_against_the_contact_dermatitis_guideline() -> None:
    # ESCD guideline 2015 (Johansen), from memory: 48 hours of occlusion, readings on day 2 and day 3.
    start = datetime(2026, 3, 6, 10, 0, tzinfo=ZoneInfo("America/New_York"))
    opens, closes = patch_reading_times(start)
    # The clocks go forward in between (IANA tz database), so the wall shows an hour more.
    assert opens.isoformat() == "2026-03-08T11:00:00-04:00"
    assert closes.isoformat() == "2026-03-09T11:00:00-04:00"


def test_a_naive_time_is_refused() -> None:
    with pytest.raises(ClockError, match="The time of the patch test 2026-03-06T10:00:00 has no time zone"):
        patch_reading_times(datetime(2026, 3, 6, 10, 0))


@pytest.mark.parametrize("answers", [{"earlier_blistering": "maybe"}, {"blisters": Answer.NO}, "no"])
def test_answers_that_are_none_decide_nothing(answers: Any) -> None:
    with pytest.raises(AnswerError):
        patch_test_allowed(answers)
