"""The languages patients are spoken to in: sentences from the catalogues beside this package, plurals, direction.

The program's own sentences are English and are the keys of the catalogues. A sentence without a translation is said
in English; a test holds that there is none.
"""

import gettext
import hashlib
import re
from collections.abc import Collection, Hashable, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

CATALOGUES = Path(__file__).parent.parent / "locale"
DOMAIN = "patient"

LANGUAGES: Mapping[str, str] = {
    "en": "English",
    "es": "Español",
    "fr": "Français",
    "de": "Deutsch",
    "ar": "العربية",
}
"""Each language by its code (ISO 639-1), in its own words."""

_RIGHT_TO_LEFT = frozenset({"ar"})
_HOLE = re.compile(r"\{([A-Za-z_]+)\}")
_MOST_COUNTED = 9
"""No patient wears more tapes than this at once: plural forms beyond it need no sentence."""


class UnknownLanguage(ValueError):
    """A language that there is no catalogue for; the text names it and those there are."""


def holes_in(text: str) -> tuple[str, ...]:
    """Return the placeholders of a sentence in order: ("off_day",) of "Off on {off_day}."."""
    return tuple(_HOLE.findall(text))


def without_holes(text: str) -> str:
    """Return the sentence without its placeholders: a brace that is left belongs to none."""
    return _HOLE.sub("", text)


def filled(text: str, values: Mapping[str, object]) -> str:
    """Return the sentence with its placeholders filled; one that begins with a capital gets its value so.

    Raises KeyError for a placeholder without a value. Nothing but plain names is understood: a text typed by somebody
    can reach no attribute of what it is given.
    """

    def value(hole: re.Match[str]) -> str:
        name = hole.group(1)
        said = str(values[name.lower()])
        return said[:1].upper() + said[1:] if name[0].isupper() else said

    return _HOLE.sub(value, text)


@dataclass(frozen=True, slots=True)
class Tongue:
    """One language. key: its code; what it says comes from its catalogue.

    edition: another one for other sentences, so that who read them is known to have read these; "" for English.
    """

    key: str
    _words: gettext.NullTranslations = field(default_factory=gettext.NullTranslations, repr=False, compare=False)
    edition: str = ""

    @property
    def direction(self) -> str:
        """ "rtl" where it is written from right to left, else "ltr", as HTML names them."""
        return "rtl" if self.key in _RIGHT_TO_LEFT else "ltr"

    def unfilled(self, text: str) -> str:
        """Return the sentence in this language with its placeholders as they stand."""
        return self._words.gettext(text) if text else ""

    def say(self, text: str, /, **values: object) -> str:
        """Return the sentence in this language, filled. Raises KeyError as filled does."""
        return filled(self.unfilled(text), values)

    def count(self, one: str, many: str, number: int, /, **values: object) -> str:
        """Return the sentence in the form for number. Raises KeyError as filled does."""
        return filled(self._words.ngettext(one, many, number), values)

    def forms(self, one: str, many: str) -> tuple[tuple[int, str], ...]:
        """Return each form that can come up, with the smallest number it is said of, unfilled."""
        found: dict[str, int] = {}
        for number in range(1, _MOST_COUNTED + 1):
            found.setdefault(self._words.ngettext(one, many, number), number)
        return tuple((number, text) for text, number in found.items())

    def form_number(self, one: str, many: str, number: int) -> int:
        """Return the smallest number that is said in the same form as number."""
        said = self._words.ngettext(one, many, number)
        return next((first for first, text in self.forms(one, many) if text == said), number)

    def all_of(self, words: Collection[str]) -> str:
        """Return "a", "a and b", "a, b and c", in this language's way."""
        listed = list(words)
        if not listed:
            return ""
        said = listed[0]
        for word in listed[1:-1]:
            said = self.say("{some}, {more}", some=said, more=word)
        return said if len(listed) == 1 else self.say("{some} and {last}", some=said, last=listed[-1])

    def number_apart(self, number: str) -> str:
        """Return a telephone number so that letters of the other direction cannot turn its parts about.

        Marks on both sides (U+200E, Unicode Annex 9, rules W7 and N1), and only where the direction needs them.
        """
        return f"\u200e{number}\u200e" if number and self.direction == "rtl" else number

    @property
    def begins(self) -> str:
        """What a plain text begins with so that it runs in this direction though its first word may not."""
        return "\u200f" if self.direction == "rtl" else ""


ENGLISH = Tongue("en")


@cache
def tongue_of(key: str) -> Tongue:
    """Return a language by its code.

    Raises:
        UnknownLanguage: when there is none; OSError when its catalogue cannot be read.
    """
    if key not in LANGUAGES:
        raise UnknownLanguage(f"{key!r} is not a language here; there are {', '.join(LANGUAGES)}")
    if key == ENGLISH.key:
        return ENGLISH
    with (CATALOGUES / key / "LC_MESSAGES" / f"{DOMAIN}.mo").open("rb") as compiled:
        words = _Catalogue(compiled)
    return Tongue(key, words, edition_of(words.sentences))


class _Catalogue(gettext.GNUTranslations):
    """A catalogue that can be asked for all it says, which the library keeps under this name and has no word for."""

    _catalog: dict[Hashable, str]

    @property
    def sentences(self) -> dict[Hashable, str]:
        """Each sentence under its English one, or that and the number of its plural form; without the head."""
        return {key: said for key, said in self._catalog.items() if key}


def edition_of(sentences: Mapping[Hashable, str]) -> str:
    """Return what a catalogue is known by: 16 hexadecimal digits, others for other sentences and for nothing else."""
    told = repr(sorted((repr(key), said) for key, said in sentences.items()))
    return hashlib.sha256(told.encode()).hexdigest()[:16]


def is_read(approval: Mapping[str, str], tongue: Tongue) -> bool:
    """Return whether the approval was given for the sentences as they stand.

    One that tells no edition was given before editions were kept: nobody can say what it covers.
    """
    return approval.get("edition", "") == tongue.edition


def unread(approvals: Mapping[str, Mapping[str, str]]) -> list[str]:
    """Return the languages, in their own words, whose approval is of other sentences than the program says now."""
    known = [(key, approvals[key]) for key in LANGUAGES if key in approvals]
    return [LANGUAGES[key] for key, approval in known if not is_read(approval, tongue_of(key))]


def spoken(wanted: str, *, clinic: str, approved: Collection[str]) -> str:
    """Return the language to speak: the one wanted where somebody approved it, else the clinic's own."""
    return wanted if wanted == clinic or wanted in approved else clinic
