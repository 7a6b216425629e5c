"""Writes a clinic's own words for sentences of messages."""

from collections.abc import Mapping
from datetime import date, datetime

from django.db import transaction

from clinic.models import Clinic, Event
from clinic.models.people import Language
from clinic.rules.tongue import tongue_of
from clinic.services.clinic import clinic_locked
from clinic.services.events import Actor, event_record
from reminders.rules.own_words import EDITED, ReadBy, reading_of, slots_of, wrong_with
from reminders.selectors.own_words import VERB, text_changes_since
from reminders.services.text_trial import too_long


class WordsRefused(ValueError):
    """Some words cannot be said. reasons: by the sentence's key, why and what would work."""

    def __init__(self, reasons: Mapping[str, str]) -> None:
        super().__init__("; ".join(reasons.values()))
        self.reasons = dict(reasons)


class ReaderMissing(ValueError):
    """Patients would get these words at once, and nobody stands for them by name."""


class WordsChanged(Exception):
    """Somebody else saved words of this message since the form was opened. events: newest first, with who did it."""

    def __init__(self, clinic: Clinic, events: list[Event]) -> None:
        super().__init__("saved by somebody else in the meantime")
        self.clinic, self.events = clinic, events


@transaction.atomic
def words_change(
    *, actor: Actor, now: datetime, language: str, changes: Mapping[str, str], version: int, reader: str
) -> Clinic:
    """Keep changes of one message, by key of the sentence's form: the clinic's words, or "" for the program's again.

    now: aware. version: what text_version said when the form was opened. reader: the fluent clinician who read the
    new words, or "". Messages not yet sent say the new words when they go; nothing has to be planned anew.

    Raises WordsChanged, WordsRefused, and ReaderMissing where the language is on and somebody has to have read them.
    """
    clinic = clinic_locked()
    changes = {key: words for key, words in changes.items() if clinic.texts.get(language, {}).get(key, "") != words}
    if not changes:
        return clinic
    kind = min(changes).split(".")[0]
    events = text_changes_since(language, kind, version)
    if events:
        raise WordsChanged(clinic, events)
    refuse_unsayable(clinic, language, kind, changes, now)
    unread = _needing_reader(clinic, language, changes)
    if unread and not reader.strip():
        raise ReaderMissing("Write the name of the clinician who read the new words.")
    # The readers first: they note what stood there, where that is what was approved.
    _keep_readers(clinic, language, changes, unread, {"name": reader.strip(), "on": _day(now, clinic).isoformat()})
    _keep(clinic, language, changes)
    clinic.save(update_fields=["texts", "text_readers"])
    event_record(actor=actor, verb=VERB, subject=clinic, now=now, fields=[f"{language}:{key}" for key in changes])
    return clinic


def refuse_unsayable(clinic: Clinic, language: str, kind: str, changes: Mapping[str, str], now: datetime) -> None:
    """Raise WordsRefused for a sentence there is none of, words that cannot stand in it, or a text that gets too long.

    Whole texts are only tried where every sentence is sound by itself.
    """
    if language not in Language.values or kind not in EDITED:
        raise WordsRefused({kind: "There is no such message in that language."})
    slots = {slot.key: slot for slot in slots_of(kind, tongue_of(language), clinic.texts.get(language, {}))}
    reasons = {}
    for key, words in changes.items():
        if key not in slots:
            reasons[key] = "There is no such sentence in this message."
        elif words or slots[key].text.locked:
            wrong = wrong_with(slots[key].text, words)
            if wrong:
                reasons[key] = " ".join(wrong)
    reasons = reasons or too_long(clinic=clinic, now=now, language=language, kind=kind, changes=changes)
    if reasons:
        raise WordsRefused(reasons)


def _needing_reader(clinic: Clinic, language: str, changes: Mapping[str, str]) -> list[str]:
    is_on, readers = clinic.speaks(language) == language, clinic.text_readers.get(language, {})
    # An entry that does not say what was approved is older than that note: somebody is asked.
    programs = {key for key, entry in readers.items() if entry.get("approved") == ""}
    return [
        key
        for key, words in changes.items()
        if reading_of(key, words, is_on=is_on, tongue=tongue_of(language), programs_approved=programs)
        is ReadBy.SOMEBODY
    ]


def _keep(clinic: Clinic, language: str, changes: Mapping[str, str]) -> None:
    own = {**clinic.texts.get(language, {}), **changes}
    clinic.texts = {**clinic.texts, language: {key: words for key, words in own.items() if words}}


def _keep_readers(
    clinic: Clinic, language: str, changes: Mapping[str, str], unread: list[str], read: dict[str, str]
) -> None:
    known, stored = clinic.text_readers.get(language, {}), clinic.texts.get(language, {})
    readers = {key: entry for key, entry in known.items() if key not in changes}
    for key in unread:
        entry = known.get(key, {"approved": stored.get(key, "")})
        readers[key] = {**entry, **read}
    clinic.text_readers = {**clinic.text_readers, language: readers}


def _day(now: datetime, clinic: Clinic) -> date:
    return now.astimezone(clinic.zone).date()
