"""Who may take the tape off, and the steps of taking it off."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from taping.rules.report_signs import signs_named
from taping.rules.skin import Answer, AnswerError, Answers, check_answers
from taping.rules.skin_questions import QUESTION_BY_KEY
from taping.rules.steps import Step, steps_from
from taping.rules.toml_data import DataError, load_table, text_of


class Remover(StrEnum):
    """Who takes the tape off: the patient at home, a named adult, or the clinic."""

    HOME = "home"
    HELPER = "helper"
    CLINIC = "clinic"


@dataclass(frozen=True, slots=True)
class RemovalQuestion:
    """One fact asked at handing over, worded so that no lets the patient do it; ``screen`` answers it as well."""

    key: str
    text: str
    because: str
    source: str
    screen: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RemoverDecision:
    """Who takes the tape off, who else may, and why. The clinic always may."""

    who: Remover
    allowed: tuple[Remover, ...]
    reasons: tuple[str, ...]


def removal_question_from(row: Mapping[str, Any]) -> RemovalQuestion:
    """Return the question of one entry of the data file.

    Raises:
        DataError: when a text is missing, or it names a question that the skin screen does not have.
    """
    question = RemovalQuestion(
        key=text_of(row, "key"),
        text=text_of(row, "text"),
        because=text_of(row, "because"),
        source=text_of(row, "source"),
        screen=tuple(row.get("screen", ())),
    )
    if not set(question.screen) <= set(QUESTION_BY_KEY):
        raise DataError(f"removal question {question.key!r} names {question.screen}, which the skin screen lacks")
    return question


_DATA = load_table("removal")

REMOVAL_QUESTIONS: tuple[RemovalQuestion, ...] = tuple(removal_question_from(row) for row in _DATA["question"])

USUAL_STEPS: tuple[Step, ...] = steps_from(_DATA["usual"])
"""How tape comes off skin that is whole, in order."""

RAW_STEPS: tuple[Step, ...] = steps_from(_DATA["raw"])
"""What to do over a blister or raw or bleeding skin, in order: no oil, no pulling."""

WORN_CARE: tuple[Step, ...] = steps_from(_DATA["worn"])
"""What to do with wet tape and loose edges."""

RAW_SIGNS = frozenset({"blister", "broken_skin"})
"""Signs that forbid oil and pulling."""

_TAKES = (Answer.YES, Answer.NO, Answer.NOT_KNOWN)


def remover_allowed(answers: Answers, *, helper_ready: bool = False) -> RemoverDecision:
    """Return who takes the tape off, from the answers to the removal questions.

    Only a no to every question lets the patient do it; what is unanswered or not known counts as yes.
    ``helper_ready`` says that a named adult can see, reach and feel this tape.

    Raises:
        AnswerError: when a question is unknown, or an answer is not yes, no or not known.
    """
    _check_answers(answers)
    against = [
        _because(question, answers.get(question.key))
        for question in REMOVAL_QUESTIONS
        if answers.get(question.key) != Answer.NO
    ]
    able = {Remover.HOME: not against, Remover.HELPER: helper_ready, Remover.CLINIC: True}
    allowed = tuple(remover for remover in Remover if able[remover])
    if not against:
        reasons = ["Nothing found in the answers against taking it off at home; the therapist decides."]
    elif helper_ready:
        reasons = [*against, "A named adult can see, reach and feel the tape: the helper or the clinic takes it off."]
    else:
        reasons = [*against, "No named adult can see, reach and feel the tape: the clinic takes it off."]
    return RemoverDecision(allowed[0], allowed, tuple(reasons))


def _because(question: RemovalQuestion, answer: Answer | None) -> str:
    if answer == Answer.YES:
        return f"Not by the patient: {question.because}."
    state = "not answered" if answer is None else "not known"
    return f"Not by the patient while this is {state}: {question.text}"


def _check_answers(answers: Answers) -> None:
    keys = [question.key for question in REMOVAL_QUESTIONS]
    for key, answer in answers.items():
        if key not in keys:
            raise AnswerError(f"{key!r} is not a question about removal; there are {', '.join(keys)}")
        if answer is not None and answer not in _TAKES:
            raise AnswerError(f"{answer!r} is not an answer to {key!r}; it takes yes, no, not_known, or None")


def removal_answers_from(screen_answers: Answers) -> dict[str, Answer | None]:
    """Return what the skin screen already says about the removal questions.

    One yes or not known among the screen's questions makes a yes; all no make a no; otherwise it stays open.

    Raises:
        AnswerError: as for ``judge``.
    """
    check_answers(screen_answers)
    return {
        question.key: _answer_from([screen_answers.get(key) for key in question.screen])
        for question in REMOVAL_QUESTIONS
        if question.screen
    }


def _answer_from(answers: list[Answer | None]) -> Answer | None:
    if any(answer in (Answer.YES, Answer.NOT_KNOWN) for answer in answers):
        return Answer.YES
    return Answer.NO if all(answer == Answer.NO for answer in answers) else None


def removal_steps(signs: Collection[str] = ()) -> tuple[Step, ...]:
    """Return the steps of taking tape off, in order, for skin with these signs: never oil over raw skin.

    Raises:
        SignError: when a sign is unknown. A blister under a misspelt name would get oil and pulling.
    """
    return RAW_STEPS if is_raw(signs) else USUAL_STEPS


def is_raw(signs: Collection[str]) -> bool:
    """Tell whether one of ``signs`` forbids oil and pulling.

    Raises:
        SignError: when a sign is unknown, or ``signs`` is one text instead of several.
    """
    return any(sign.key in RAW_SIGNS for sign in signs_named(signs))
