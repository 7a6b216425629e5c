"""A clinic's own words for a sentence: what may stand in it, what must, and who has to have read it."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from enum import Enum

from clinic.rules.text import normalise_line
from clinic.rules.tongue import ENGLISH, Tongue, holes_in, without_holes
from reminders.rules.kinds import MessageKind
from reminders.rules.texts import MAIL, PAGE, SHARED, SMS, SUBJECT, TEXTS, Text, edit_key

LONGEST: Mapping[str, int] = {SMS: 320, SUBJECT: 120, MAIL: 600, PAGE: 120}
"""Characters of one sentence. What a text message may cost is counted whole; this keeps a slip from filling a page."""


@dataclass(frozen=True, slots=True)
class Placeholder:
    """A word in braces. means: what is filled in; needed: whether a sentence that has it must keep it."""

    name: str
    means: str
    needed: bool = True


PLACEHOLDERS: Mapping[str, Placeholder] = {
    one.name: one
    for one in (
        Placeholder("tape", "“your tape”, “your tapes”, or for a helper “Ada's tape”", needed=False),
        Placeholder("place", "where it is, as in “left knee”", needed=False),
        Placeholder("off_day", "the day it comes off, written out"),
        Placeholder("off_when", "“today”, “tomorrow”, or the day it comes off"),
        Placeholder("off_at", "the time of the visit at which it comes off"),
        Placeholder("by_words", "who takes it off: “at home”, “at the clinic at 10:00”, “with Bo”"),
        Placeholder("each", "each of several tapes, with its day or who takes it off"),
        Placeholder("where", "where one of several tapes is"),
        Placeholder("off", "when one of several tapes comes off, and by whom"),
        Placeholder("move_from", "from when easy movement is allowed"),
        Placeholder("water_from", "from when sweat and water are allowed"),
        Placeholder("closed_day", "the last day on which it should have come off"),
        Placeholder("visit", "“your visit”, “your visits”, or for a helper “Ada's visit”", needed=False),
        Placeholder("visit_when", "day and time of the visit"),
        Placeholder("helper", "what the helper is called"),
        Placeholder("hello", "what they want to be called; never the full name", needed=False),
        Placeholder("telephone", "the clinic's telephone"),
        Placeholder("emergency", "the emergency number"),
        Placeholder("clinic_name", "the clinic's name"),
        Placeholder("stop_link", "the address of the page that stops all messages"),
    )
}

_ALWAYS = ("telephone", "emergency", "clinic_name")
_NOT_IN_SUBJECTS = ("place", "emergency")

PRIVATE = frozenset(
    {
        "name", "first_name", "last_name", "surname", "family_name", "full_name", "patient", "patient_name",
        "diagnosis", "condition", "injury", "goal", "note", "notes", "screen", "reaction", "born", "birthday",
        "birth_date", "date_of_birth", "age", "phone", "address", "email",
    }
)  # fmt: skip
"""What no message carries, whatever somebody would like: others may read it on the way, or over a shoulder."""


def offered_in(text: Text) -> tuple[Placeholder, ...]:
    """Return what may stand in the sentence: what the program's own has, then what is always known where it is said.

    The place on the body stays out of subjects: a locked telephone shows them.
    """
    everywhere = [name for name in common_in(text.kind) if text.part != SUBJECT or name not in _NOT_IN_SUBJECTS]
    names = [hole.lower() for hole in holes_in(text.one)]
    return tuple(PLACEHOLDERS[name] for name in dict.fromkeys([*names, *everywhere]))


def common_in(kind: str) -> tuple[str, ...]:
    """Return the placeholders that are known wherever a sentence of a kind (or SHARED) is said."""
    if kind.startswith("visit_"):
        return (*_ALWAYS, "visit", "visit_when")
    return _ALWAYS if kind in (SHARED, MessageKind.STOP_CONFIRMED) else (*_ALWAYS, "tape", "place")


def needed_in(text: Text) -> tuple[Placeholder, ...]:
    """Return what the sentence must keep: the day, the hour, who does it, whom to call."""
    names = dict.fromkeys(hole.lower() for hole in holes_in(text.one))
    return tuple(PLACEHOLDERS[name] for name in names if PLACEHOLDERS[name].needed)


def one_line(typed: str) -> str:
    """Return the words as they are kept: one line, composed, without what cannot be seen.

    Raises UnusableTextError for control characters. How long they are is for wrong_with to say.
    """
    return normalise_line(" ".join(typed.split()), longest=100_000)


def wrong_with(text: Text, words: str) -> tuple[str, ...]:
    """Return what is wrong with words (as one_line returned them) in place of the sentence; nothing where all is well.

    A locked sentence takes no words at all.
    """
    if text.locked:
        return ("This sentence keeps people safe. It cannot be changed.",)
    if not words:
        return ("Write the sentence, or go back to the program's own words.",)
    found = []
    if len(words) > LONGEST[text.part]:
        found.append(f"{len(words)} characters are too long for one sentence: at most {LONGEST[text.part]} fit.")
    if any(brace in without_holes(words) for brace in "{}"):
        found.append("A { or } stands where no placeholder is. Braces are only for placeholders, as in {telephone}.")
    return (*found, *_wrong_holes(text, words))


def _wrong_holes(text: Text, words: str) -> list[str]:
    offered, there = {one.name for one in offered_in(text)}, {hole.lower() for hole in holes_in(words)}
    found = []
    for name in sorted(there - offered):
        if name in PRIVATE:
            found.append(f"{{{name}}} goes into no message: others may read it. Names and what is wrong stay here.")
        else:
            known = ", ".join(f"{{{one.name}}}" for one in offered_in(text))
            found.append(f"{{{name}}} is not known in this sentence. Known are {known}.")
    found += [
        f"{{{one.name}}} is missing: {one.means}. Patients need it." for one in needed_in(text) if one.name not in there
    ]
    return found


@dataclass(frozen=True, slots=True)
class Slot:
    """One form of a sentence as it is edited. number: the smallest number of tapes or visits it is said of; highest:
    that of the sentence's last form.

    programs: the program's own words in this language, unfilled; own: the clinic's, or "".
    """

    text: Text
    number: int
    highest: int
    programs: str
    own: str

    @property
    def key(self) -> str:
        return edit_key(self.text.key, self.number)

    @property
    def words(self) -> str:
        return self.own or self.programs


def slots_of(kind: str, tongue: Tongue, own: Mapping[str, str]) -> tuple[Slot, ...]:
    """Return the sentences of a kind (or SHARED) in a language, in the order of the data, each form by itself."""
    return tuple(
        Slot(
            text=text,
            number=number,
            highest=text.forms(tongue)[-1][0],
            programs=programs,
            own="" if text.locked else own.get(edit_key(text.key, number), ""),
        )
        for text in TEXTS.values()
        if text.kind == kind
        for number, programs in text.forms(tongue)
    )


EDITED: tuple[str, ...] = (*(kind.value for kind in MessageKind if not kind.is_for_staff), SHARED)
"""What has a page of its own: every kind that goes to patients, and the sentences they share."""


def changes_between(slots: Collection[Slot], typed: Mapping[str, str]) -> dict[str, str]:
    """Return what typed (by key, as one_line returned it) changes: the new words, or "" for the program's again.

    Words typed as the program says them are the program's.
    """
    changes = {}
    for slot in slots:
        words = typed.get(slot.key, slot.words)
        kept = "" if words == one_line(slot.programs) else words
        if kept != slot.own and words != slot.words:
            changes[slot.key] = kept
    return changes


class ReadBy(Enum):
    """Why a change needs no reader, or that it does."""

    LANGUAGE_OFF = "nobody gets these words until the language is approved as a whole"
    WAS_READ = "the program's own words were approved, and are said again"
    SOMEBODY = "patients get these words at once: a fluent clinician has to have read them"


def reading_of(key: str, words: str, *, is_on: bool, tongue: Tongue, programs_approved: Collection[str]) -> ReadBy:
    """Return whether somebody has to have read words ("" for the program's) before they are said in place of key.

    programs_approved: the keys whose words were changed since the language was approved, and which said the program's
    own then: going back from those leads to what was approved. It does not where words of the clinic's were approved:
    the program's sentence may never have been read. English is what the program was written in and starts with.
    """
    if not is_on:
        return ReadBy.LANGUAGE_OFF
    if not words and (tongue.key == ENGLISH.key or key in programs_approved):
        return ReadBy.WAS_READ
    return ReadBy.SOMEBODY
