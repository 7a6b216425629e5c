"""The questions of the skin screen, read from the data file beside it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from taping.rules.toml_data import DataError, load_table, text_of
from taping.rules.urgency import Urgency

GOALS = ("ease_muscle", "support_muscle", "steady_joint", "ease_pain", "move_swelling")
"""What a taping may be for; some questions are asked for some of these only."""


class Weight(StrEnum):
    """What an answer of yes means; the order is from grave to light."""

    STOP = "stop"
    PREPARE = "prepare"
    CAUTION = "caution"


class About(StrEnum):
    """Whom a question is about: the person, asked once a visit, or the skin of one region."""

    PERSON = "person"
    REGION = "region"


class Patch(StrEnum):
    """What an earlier reaction means for a patch test: mild ones allow it, severe ones forbid it."""

    NONE = "none"
    MILD = "mild"
    SEVERE = "severe"


class GoalError(ValueError):
    """A goal that the rules do not know; the text names it and those that they know."""


@dataclass(frozen=True, slots=True)
class Question:
    """One fact to ask about, worded so that no is the safe answer. An empty ``goals`` means every goal."""

    key: str
    text: str
    weight: Weight
    about: About
    advice: str
    urgency: Urgency
    who: str
    source: str
    goals: tuple[str, ...]
    patch: Patch


def question_from(row: Mapping[str, Any]) -> Question:
    """Return the question of one entry of the data file.

    Raises:
        DataError: when a text is missing, a goal is unknown, or an urgency comes without whom to see.
    """
    question = Question(
        key=text_of(row, "key"),
        text=text_of(row, "text"),
        weight=Weight(text_of(row, "weight")),
        about=About(text_of(row, "about")),
        advice=text_of(row, "advice"),
        urgency=Urgency(text_of(row, "urgency", default="none")),
        who=text_of(row, "who", default=""),
        source=text_of(row, "source"),
        goals=tuple(row.get("goals", ())),
        patch=Patch(text_of(row, "patch", default="none")),
    )
    if not set(question.goals) <= set(GOALS):
        raise DataError(f"question {question.key!r} is limited to {question.goals}; the goals are {GOALS}")
    if bool(question.who) != (question.urgency is not Urgency.NONE):
        raise DataError(f"question {question.key!r} needs both an urgency and who sees the patient, or neither")
    return question


def questions_from(rows: Iterable[Mapping[str, Any]]) -> tuple[Question, ...]:
    """Return the questions of the data file in its order.

    Raises:
        DataError: when two have one key, or an entry is not usable.
    """
    questions = tuple(question_from(row) for row in rows)
    keys = [question.key for question in questions]
    twice = sorted({key for key in keys if keys.count(key) > 1})
    if twice:
        raise DataError(f"two questions have the key {twice[0]!r}")
    return questions


QUESTIONS: tuple[Question, ...] = questions_from(load_table("skin_questions")["question"])

QUESTION_BY_KEY: Mapping[str, Question] = {question.key: question for question in QUESTIONS}

_FOR_GOAL: Mapping[str | None, tuple[Question, ...]] = {
    goal: tuple(question for question in QUESTIONS if goal is None or not question.goals or goal in question.goals)
    for goal in (None, *GOALS)
}


def questions_for(goal: str | None = None, about: About | None = None) -> tuple[Question, ...]:
    """Return the questions to ask for ``goal`` (all of them without one), about the person, the region or both.

    Raises:
        GoalError: when the goal is unknown.
    """
    try:
        asked = _FOR_GOAL[goal]
    except (KeyError, TypeError):
        raise GoalError(f"{goal!r} is not a goal; choose one of {', '.join(GOALS)}") from None
    return tuple(question for question in asked if question.about == about) if about else asked


def by_weight(questions: Iterable[Question]) -> dict[Weight, tuple[Question, ...]]:
    """Return the questions in three groups, stops first; a group may be empty."""
    listed = tuple(questions)
    return {weight: tuple(question for question in listed if question.weight is weight) for weight in Weight}
