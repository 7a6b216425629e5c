"""The signs a patient can report, read from the data file beside it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from taping.rules.steps import Step, steps_from
from taping.rules.toml_data import load_table, text_of
from taping.rules.urgency import Urgency


class TapeAction(StrEnum):
    """What a sign means for the tape."""

    OFF_NOW = "off_now"
    SOAK = "soak"
    OFF = "off"


class SignError(ValueError):
    """A sign that nobody can report; the text names it and those that there are."""


@dataclass(frozen=True, slots=True)
class Sign:
    """One thing a patient can notice, with its urgency and what it means for the tape.

    ``words`` are the patient's own, ``staff_words`` say the same of the patient to staff; ``skin_change`` can be
    seen on the skin; ``settles`` may be gone within half an hour after removal; ``extra_step`` is the key of a step
    that this sign alone brings, or empty.
    """

    key: str
    words: str
    staff_words: str
    picture: str
    urgency: Urgency
    tape: TapeAction
    why: str
    source: str
    skin_change: bool
    settles: bool
    extra_step: str


def sign_from(row: Mapping[str, Any]) -> Sign:
    """Return the sign of one entry of the data file.

    Raises:
        DataError, ValueError: when a text is missing, or an urgency or action is none.
    """
    return Sign(
        key=text_of(row, "key"),
        words=text_of(row, "words"),
        staff_words=text_of(row, "staff"),
        picture=text_of(row, "picture"),
        urgency=Urgency(text_of(row, "urgency")),
        tape=TapeAction(text_of(row, "tape")),
        why=text_of(row, "why"),
        source=text_of(row, "source"),
        skin_change=row.get("skin", False),
        settles=row.get("settles", False),
        extra_step=text_of(row, "step", default=""),
    )


_DATA = load_table("report")

SIGNS: tuple[Sign, ...] = tuple(sign_from(row) for row in _DATA["sign"])
"""Every sign, the most urgent first."""

SIGN_BY_KEY: Mapping[str, Sign] = {sign.key: sign for sign in SIGNS}

ADVICE_STEPS: Mapping[str, Step] = {step.key: step for step in steps_from(_DATA["step"])}


def signs_named(keys: Iterable[str]) -> tuple[Sign, ...]:
    """Return the signs with these keys, each once, the most urgent first.

    Raises:
        SignError: when a key is unknown, or ``keys`` is one text instead of several.
    """
    if isinstance(keys, str):
        raise SignError(f"the signs are {keys!r}; give a list, for instance [{keys!r}]")
    wanted = list(keys)
    for key in wanted:
        if key not in list(SIGN_BY_KEY):
            raise SignError(f"{key!r} is not a sign; there are {', '.join(SIGN_BY_KEY)}")
    return tuple(sign for sign in SIGNS if sign.key in wanted)
