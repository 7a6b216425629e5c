"""Which answers of earlier skin screens still speak, with the day on which they were given."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from taping.rules.skin import Answer
from taping.rules.skin_questions import QUESTION_BY_KEY, About, Patch

LASTING = ("stop", "caution")
"""Findings that last; what is put right before taping, such as sweat, is asked anew each time."""


@dataclass(frozen=True, slots=True)
class ScreenSaid:
    """One screen: its place, when it was made (aware), its answers by question, and the reasons kept with it."""

    made_at: datetime
    region: str
    side: str
    answers: Mapping[str, Any]
    reasons: Iterable[Mapping[str, str]]


@dataclass(frozen=True, slots=True)
class Standing:
    """A finding that still speaks: its words, whether it forbids tape, and where it comes from.

    ``region`` and ``side`` are empty where it is about the person. ``denied_at``: when a later screen said no to it.
    """

    text: str
    advice: str
    stop: bool
    made_at: datetime
    region: str
    side: str
    denied_at: datetime | None = None


def standing(screens: Iterable[ScreenSaid]) -> tuple[Standing, ...]:
    """Return what the ``screens`` found that still speaks, stops first, then the newest first.

    The newest screen that answered a question decides: about the person from any place, about the skin from the same
    place. An earlier reaction or allergy is never forgotten: a later no stands beside it.
    """
    decided: dict[tuple[str, ...], datetime] = {}
    found: dict[tuple[str, ...], Standing] = {}
    for screen in sorted(screens, key=lambda one: one.made_at, reverse=True):
        place = (screen.region, screen.side)
        for reason in screen.reasons:
            _add(found, decided, screen, reason)
        for key, answer in screen.answers.items():
            if answer not in (None, Answer.NOT_KNOWN):
                decided.setdefault(_scope(key, place), screen.made_at)
        decided.setdefault(("", *place), screen.made_at)
    return tuple(sorted(found.values(), key=lambda one: (not one.stop, -one.made_at.timestamp())))


def _scope(key: str, place: tuple[str, str]) -> tuple[str, ...]:
    question = QUESTION_BY_KEY.get(key)
    return (key,) if question is not None and question.about is About.PERSON else (key, *place)


def _add(
    found: dict[tuple[str, ...], Standing],
    decided: Mapping[tuple[str, ...], datetime],
    screen: ScreenSaid,
    reason: Mapping[str, str],
) -> None:
    key, place = reason.get("question", ""), (screen.region, screen.side)
    scope, question = _scope(key, place), QUESTION_BY_KEY.get(key)
    reaction = question is not None and question.patch is not Patch.NONE
    later = decided.get(scope) or (None if reaction else decided.get(("", *place)))
    if reason.get("finding", "caution") not in LASTING or scope in found or (later and not reaction):
        return
    of_person = len(scope) == 1
    found[scope] = Standing(
        text=reason.get("text", ""),
        advice=reason.get("advice", ""),
        stop=reason.get("finding") == "stop",
        made_at=screen.made_at,
        region="" if of_person else screen.region,
        side="" if of_person else screen.side,
        denied_at=later,
    )
