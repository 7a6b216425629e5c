"""What messages say, sentence by sentence: the program's own in every language, and a clinic's own in their place."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from clinic.rules.tongue import ENGLISH, Tongue, filled, holes_in
from taping.rules.toml_data import DataError, text_of

SHARED = "letter"
"""The kind of the sentences that several kinds share."""

SMS, SUBJECT, MAIL, PAGE = "sms", "subject", "mail", "page"


@dataclass(frozen=True, slots=True)
class Text:
    """One sentence. one: English, for one tape or visit; many: for several, empty where it is the same.

    kind: a message kind, or SHARED; part: SMS, SUBJECT, MAIL or PAGE; when: when it is said, for staff; a locked one
    keeps people safe, and no clinic can change it.
    """

    key: str
    when: str
    one: str
    many: str
    locked: bool

    @property
    def kind(self) -> str:
        return self.key.split(".")[0]

    @property
    def part(self) -> str:
        return self.key.split(".")[1]

    def forms(self, tongue: Tongue) -> tuple[tuple[int, str], ...]:
        """Return the program's own sentence in each form, with the smallest number it is said of, unfilled."""
        return tongue.forms(self.one, self.many) if self.many else ((1, tongue.unfilled(self.one)),)


def text_from(row: Mapping[str, Any]) -> Text:
    """Return the sentence of one entry of the data file.

    Raises:
        DataError: when a text is missing or its key has not three parts.
    """
    text = Text(
        key=text_of(row, "key"),
        when=text_of(row, "when"),
        one=text_of(row, "text"),
        many=text_of(row, "many", default=""),
        locked=bool(row.get("locked", False)),
    )
    if text.key.count(".") != 2 or text.part not in (SMS, SUBJECT, MAIL, PAGE):
        raise DataError(f"{text.key!r} is no key of a sentence: write kind.part.name")
    return text


def texts_from(rows: list[dict[str, Any]]) -> dict[str, Text]:
    """Return the sentences by key, in the order of the data.

    Raises:
        DataError: as text_from does, and when a key is there twice.
    """
    found = [text_from(row) for row in rows]
    keyed = {text.key: text for text in found}
    if len(keyed) < len(found):
        raise DataError("texts.toml has a key twice")
    return keyed


with (Path(__file__).parent / "texts.toml").open("rb") as _file:
    TEXTS: Mapping[str, Text] = texts_from(tomllib.load(_file)["text"])


def edit_key(key: str, form: int) -> str:
    """Return the name under which a clinic keeps its own words for one form of a sentence."""
    return f"{key}#{form}"


@dataclass(frozen=True, slots=True)
class Speech:
    """Who says the sentences: a language, and the clinic's own words by edit_key."""

    tongue: Tongue = ENGLISH
    own: Mapping[str, str] = field(default_factory=dict)

    def say(self, key: str, number: int, values: Mapping[str, object]) -> str:
        """Return the sentence for number tapes or visits, filled. Raises KeyError for a key or value that is not there.

        A clinic's words for a locked sentence are not listened to, however they came to be stored; nor are words with a
        placeholder that is not known here any more, since the message would not go at all.
        """
        text = TEXTS[key]
        form = self.tongue.form_number(text.one, text.many, number) if text.many and number > 1 else 1
        own = "" if text.locked else self.own.get(edit_key(key, form), "")
        if own and all(hole.lower() in values for hole in holes_in(own)):
            return filled(own, values)
        if text.many:
            return self.tongue.count(text.one, text.many, number, **values)
        return self.tongue.say(text.one, **values)
