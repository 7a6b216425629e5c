"""The skin screen: may this skin be taped today?

It finds what the answers say and nothing more; the therapist decides.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from taping.rules.skin_questions import (
    GOALS,
    QUESTIONS,
    About,
    GoalError,
    Question,
    Weight,
    by_weight,
    questions_for,
)
from taping.rules.urgency import Urgency, most_urgent

__all__ = [
    "GOALS",
    "OUTCOME_TEXT",
    "QUESTIONS",
    "About",
    "Answer",
    "AnswerError",
    "Answers",
    "Finding",
    "GoalError",
    "Outcome",
    "Question",
    "Reason",
    "Verdict",
    "Weight",
    "answer_none_of_these",
    "by_weight",
    "check_answers",
    "judge",
    "needs_note",
    "none_of_these_blocked_by",
    "not_screened_for",
    "questions_for",
    "reasons_of",
]


class Answer(StrEnum):
    """What can be answered; an unanswered question has no answer and is never a no."""

    YES = "yes"
    NO = "no"
    NOT_KNOWN = "not_known"
    SORTED_OUT = "sorted_out"


Answers = Mapping[str, Answer | None]


class Outcome(StrEnum):
    """What the answers of a skin screen come to."""

    UNFINISHED = "unfinished"
    DO_NOT_TAPE = "do_not_tape"
    PREPARE_FIRST = "prepare_first"
    CLEAR_WITH_CARE = "clear_with_care"
    CLEAR = "clear"


OUTCOME_TEXT: Mapping[Outcome, str] = {
    Outcome.UNFINISHED: "Not finished: questions are still open.",
    Outcome.DO_NOT_TAPE: "Do not tape.",
    Outcome.PREPARE_FIRST: "Put this right first.",
    Outcome.CLEAR_WITH_CARE: "With care: write down how these cautions are met.",
    Outcome.CLEAR: "Nothing found in the answers; the therapist decides.",
}


class AnswerError(ValueError):
    """An answer or question that the screen does not have; the text names it and says what would work."""


class Finding(StrEnum):
    """What one answer comes to; the order is from grave to light."""

    STOP = "stop"
    OPEN = "open"
    PREPARE = "prepare"
    CAUTION = "caution"


@dataclass(frozen=True, slots=True)
class Reason:
    """One answer that counts: the question's key, what was found, what to do, and who must see the patient how soon."""

    question: str
    text: str
    advice: str
    urgency: Urgency
    who: str
    weight: Weight
    finding: Finding
    answer: Answer | None

    def __str__(self) -> str:
        seen = f" To be seen {self.urgency}: {self.who}." if self.who else ""
        return f"{self.text} {self.advice}{seen}"


@dataclass(frozen=True, slots=True)
class Verdict:
    """The outcome and what made it, the gravest first."""

    outcome: Outcome
    reasons: tuple[Reason, ...]

    @property
    def summary(self) -> str:
        """The outcome in words."""
        return OUTCOME_TEXT[self.outcome]

    @property
    def urgency(self) -> Urgency:
        """How soon somebody has to see the patient, over all reasons."""
        return most_urgent(*(reason.urgency for reason in self.reasons))


def _open_reason(question: Question, answer: Answer | None) -> Reason:
    state = "Not answered yet" if answer is None else "Not known"
    advice = "Answer it; an unanswered question is never a no."
    if answer is Answer.NOT_KNOWN:
        advice = "Find out before taping."
        if question.urgency.rank >= Urgency.TODAY.rank:
            advice += f" If it cannot be ruled out: {question.advice}"
    text = f"{state}: {question.text}"
    return Reason(question.key, text, advice, Urgency.NONE, "", question.weight, Finding.OPEN, answer)


def _found_reason(question: Question, answer: Answer) -> Reason:
    note = "Yes" if answer is Answer.YES else "Not known, which counts as yes"
    finding = Finding(question.weight.value)
    text = f"{note}: {question.text}"
    return Reason(question.key, text, question.advice, question.urgency, question.who, question.weight, finding, answer)


def _row(question: Question) -> dict[Answer | None, Reason | None]:
    row: dict[Answer | None, Reason | None] = {
        None: _open_reason(question, None),
        Answer.YES: _found_reason(question, Answer.YES),
        Answer.NO: None,
        Answer.NOT_KNOWN: _open_reason(question, Answer.NOT_KNOWN),
    }
    if question.weight is Weight.CAUTION:
        row[Answer.NOT_KNOWN] = _found_reason(question, Answer.NOT_KNOWN)
    if question.weight is Weight.PREPARE:
        row[Answer.SORTED_OUT] = None
    return row


# Every reason that any answer can give, made once: a verdict then only looks them up.
_ROWS = {question.key: _row(question) for question in QUESTIONS}

_OUTCOME_OF = {
    Finding.STOP: Outcome.DO_NOT_TAPE,
    Finding.OPEN: Outcome.UNFINISHED,
    Finding.PREPARE: Outcome.PREPARE_FIRST,
    Finding.CAUTION: Outcome.CLEAR_WITH_CARE,
}


def judge(answers: Answers, *, goal: str | None = None) -> Verdict:
    """Return what ``answers`` (question key → answer; a missing key is unanswered) come to for ``goal``.

    The gravest finding makes the outcome: a stop, then anything open, then something to put right, then a caution.
    Questions that the goal leaves out count for nothing. What is unanswered is listed only while the outcome is
    unfinished.

    Raises:
        AnswerError: when a question is unknown, or an answer does not belong to it.
        GoalError: when the goal is unknown.
    """
    check_answers(answers)
    found = [
        reason
        for question in questions_for(goal)
        if (reason := _ROWS[question.key][answers.get(question.key)]) is not None
    ]
    if not found:
        return Verdict(Outcome.CLEAR, ())
    groups: dict[Finding, list[Reason]] = {finding: [] for finding in Finding}
    for reason in found:
        groups[reason.finding].append(reason)
    outcome = _OUTCOME_OF[next(finding for finding, group in groups.items() if group)]
    if outcome is Outcome.DO_NOT_TAPE:
        groups[Finding.OPEN] = [reason for reason in groups[Finding.OPEN] if reason.answer is not None]
    return Verdict(outcome, tuple(reason for group in groups.values() for reason in group))


def reasons_of(key: str) -> tuple[Reason, ...]:
    """Return every reason that an answer to the question of that key can give.

    Raises:
        KeyError: when there is no such question.
    """
    return tuple(reason for reason in _ROWS[key].values() if reason is not None)


def check_answers(answers: Answers) -> None:
    """Make sure that ``answers`` are answers to questions of the skin screen; all of them need not be there.

    Raises:
        AnswerError: when they are no mapping, a question is unknown, or an answer does not belong to it.
    """
    if not isinstance(answers, Mapping):
        raise AnswerError(f"the answers are {answers!r}; give each question's key with its answer")
    for key, answer in answers.items():
        try:
            row = _ROWS[key]
        except (KeyError, TypeError):
            raise AnswerError(f"{key!r} is not a question of the skin screen") from None
        try:
            row[answer]
        except (KeyError, TypeError):
            takes = ", ".join(str(choice) for choice in row if choice is not None)
            raise AnswerError(f"{answer!r} is not an answer to {key!r}; it takes {takes}, or None") from None


def needs_note(verdict: Verdict) -> bool:
    """Return whether saving this verdict needs a written note: clear with care says how the cautions are met."""
    return verdict.outcome is Outcome.CLEAR_WITH_CARE


def not_screened_for(answers: Answers, *, screened_for: str | None, goal: str | None) -> tuple[Question, ...]:
    """Return the questions that ``goal`` adds to those of ``screened_for`` and that were not answered with no.

    The verdict of a screen holds for its own goal only. An empty result means that it holds for ``goal`` too.

    Raises:
        GoalError: when a goal is unknown.
    """
    counted = questions_for(screened_for)
    return tuple(
        question
        for question in questions_for(goal)
        if question not in counted and answers.get(question.key) != Answer.NO
    )


def none_of_these_blocked_by(answers: Answers, *, goal: str | None = None) -> tuple[Question, ...]:
    """Return the stops and things to put right that must be answered before "none of these" fits the cautions.

    Not known is an answer. An empty result means it is allowed; stops are never ticked away in a bunch.

    Raises:
        AnswerError, GoalError: as for ``judge``.
    """
    check_answers(answers)
    return tuple(
        question
        for question in questions_for(goal)
        if question.weight is not Weight.CAUTION and answers.get(question.key) is None
    )


def answer_none_of_these(answers: Answers, *, goal: str | None = None) -> dict[str, Answer | None]:
    """Return ``answers`` with a no to every caution of ``goal`` that is not answered yet.

    Raises:
        AnswerError: while a stop or a thing to put right is unanswered, and as for ``judge``.
    """
    blocking = none_of_these_blocked_by(answers, goal=goal)
    if blocking:
        raise AnswerError(f'"none of these" comes after the stops and preparations; first answer {blocking[0].key!r}')
    cautions = by_weight(questions_for(goal))[Weight.CAUTION]
    added: dict[str, Answer | None] = {
        question.key: Answer.NO for question in cautions if answers.get(question.key) is None
    }
    return {**answers, **added}
