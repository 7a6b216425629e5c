"""What a patient reads when a skin screen holds the tape back, from the reasons as they were recorded.

The sentences are in hold.toml, one entry for each question that can hold. They are said only while the recorded words
are still those of the questions: a reason whose question was worded anew since is read as it was recorded.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from clinic.rules.tongue import ENGLISH, Tongue
from taping.rules.skin import Answer, Finding, Reason, reasons_of
from taping.rules.skin_questions import QUESTION_BY_KEY, Weight
from taping.rules.toml_data import DataError, load_table, text_of
from taping.rules.urgency import Urgency


@dataclass(frozen=True, slots=True)
class Held:
    """One thing that holds the tape back: what was found, and what the patient does now."""

    what: str
    advice: str


def hold_words_from(rows: Iterable[Mapping[str, Any]]) -> Mapping[str, Held]:
    """Return the entries of the data file by their question.

    Raises:
        DataError: when a text is missing, or the entries are not those of the stops and of what is put right first.
    """
    words = {text_of(row, "key"): Held(text_of(row, "what"), text_of(row, "advice")) for row in rows}
    holding = {key for key, question in QUESTION_BY_KEY.items() if question.weight is not Weight.CAUTION}
    if amiss := sorted(holding ^ set(words)):
        raise DataError(f"hold.toml and the questions that hold differ in {', '.join(amiss)}")
    return words


HOLD_WORDS: Mapping[str, Held] = hold_words_from(load_table("hold")["hold"])

WHO: tuple[str, ...] = tuple(dict.fromkeys(one.who for one in QUESTION_BY_KEY.values() if one.who))
"""Everybody who may have to see a patient, in English, each once."""


def held(recorded: Iterable[Mapping[str, Any]], tongue: Tongue = ENGLISH) -> tuple[Held, ...]:
    """Return the recorded reasons of a screen that hold the tape back. Cautions hold nothing and are left out."""
    return tuple(_said(row, tongue) for row in recorded if row["finding"] != Finding.CAUTION)


def seen_by(recorded: Iterable[Mapping[str, Any]], tongue: Tongue = ENGLISH) -> tuple[str, ...]:
    """Return who has to see the patient and how soon, each once, the most urgent first."""
    rows = sorted((row for row in recorded if row["who"]), key=lambda row: -Urgency(row["urgency"]).rank)
    return tuple(dict.fromkeys(_seen(row, tongue) for row in rows))


def _seen(row: Mapping[str, Any], tongue: Tongue) -> str:
    who = tongue.say(str(row["who"]))
    if row["urgency"] == Urgency.EMERGENCY:
        return tongue.say("To be seen now: {who}.", who=who)
    if row["urgency"] == Urgency.TODAY:
        return tongue.say("To be seen today: {who}.", who=who)
    return tongue.say("To be asked soon: {who}.", who=who)


def _said(row: Mapping[str, Any], tongue: Tongue) -> Held:
    reason = _reason_of(row)
    if reason is None:
        return Held(str(row["text"]), str(row["advice"]))
    words, say = HOLD_WORDS[reason.question], tongue.say
    what, advice = tongue.say(words.what), tongue.say(words.advice)
    if reason.answer is Answer.YES:
        return Held(say("{What}.", what=what), advice)
    if QUESTION_BY_KEY[reason.question].urgency.rank < Urgency.TODAY.rank:
        return Held(say("Not known: {what}.", what=what), say("To be found out before taping."))
    if_so = say("To be found out before taping. If it cannot be ruled out: {advice}", advice=advice)
    return Held(say("Not known: {what}.", what=what), if_so)


def _reason_of(row: Mapping[str, Any]) -> Reason | None:
    """The reason whose words were recorded; None where no question that holds has these words today."""
    key = str(row["question"])
    if key not in HOLD_WORDS:
        return None
    same = (one for one in reasons_of(key) if (one.text, one.advice) == (row["text"], row["advice"]))
    return next(same, None)
