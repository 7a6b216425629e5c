"""Reads one object of a JSON file: every refusal names the path of the key, and nothing unknown is passed over."""

import re
import unicodedata
from collections.abc import Callable, Collection, Sequence
from datetime import UTC, date, datetime, time
from typing import Any, Final, TypeVar
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from clinic.rules.local_time import LocalTimeError, exact_local

FIRST_YEAR, LAST_YEAR = 1972, 2199
_MOMENT = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(:\d\d(\.\d{1,6})?)?(?P<offset>Z|[+-]\d\d:\d\d)?", re.ASCII)
_CLOCK = re.compile(r"\d\d:\d\d", re.ASCII)
_DATE = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
_SHOWN = 60
_UNWRITABLE = frozenset({"Cc", "Cs"})

T = TypeVar("T")


class Required:
    """Stands where a default would stand: the key must be there."""


REQUIRED: Final = Required()


class BadScenario(ValueError):
    """A file that cannot be played. The text is one line: the path of the key, and what would work."""

    def __init__(self, path: str, words: str) -> None:
        super().__init__(" ".join(f"{path}: {words}".split()))
        self.path = path


class Part:
    """One object of the file, and the path that leads to it ("" for the whole file)."""

    def __init__(self, value: object, path: str, keys: Collection[str]) -> None:
        if not isinstance(value, dict):
            raise BadScenario(path or "the file", f"must be an object in braces, not {_shown(value)}")
        self._value: dict[str, Any] = value
        self._path = path
        for key in value:
            if key not in keys:
                raise BadScenario(self.at(key), f"is no key of this place; there are {', '.join(keys)}")

    def at(self, key: str) -> str:
        """The path of a key of this object."""
        shown = _key_shown(key)
        return f"{self._path}.{shown}" if self._path else shown

    def has(self, key: str) -> bool:
        return key in self._value

    def raw(self, key: str) -> Any:
        """Whatever stands there; refuses its absence."""
        if key not in self._value:
            raise self.refuse(key, "is missing")
        return self._value[key]

    def refuse(self, key: str, words: str) -> BadScenario:
        """To be raised: what is wrong with a key of this object."""
        return BadScenario(self.at(key), words)

    def text(self, key: str, default: str | Required = REQUIRED, *, most: int = 200, null: bool = False) -> str:
        """A text of up to `most` characters; null: the file may say null for an empty one."""
        if not isinstance(default, Required) and (key not in self._value or (null and self._value[key] is None)):
            return default
        return _text(self.raw(key), self.at(key), most)

    def choice(self, key: str, words: Collection[str], default: str | Required = REQUIRED) -> str:
        value = self.text(key, default)
        if value not in words:
            raise self.refuse(key, f"is {_shown(value)}; there are {', '.join(words)}")
        return str(value)

    def truth(self, key: str, default: bool) -> bool:
        value = self._value.get(key, default)
        if not isinstance(value, bool):
            raise self.refuse(key, f"must be true or false, not {_shown(value)}")
        return value

    def number(self, key: str, default: int, least: int, most: int) -> int:
        value = self._value.get(key, default)
        if isinstance(value, bool) or not isinstance(value, int):
            raise self.refuse(key, f"must be a whole number, not {_shown(value)}")
        if not least <= value <= most:
            raise self.refuse(key, f"must be from {least} to {most}, not {_shown(value)}")
        return value

    def clock(self, key: str, default: time) -> time:
        return _clock(self._value[key], self.at(key)) if key in self._value else default

    def moment(self, key: str, zone: ZoneInfo, default: datetime | Required = REQUIRED) -> datetime:
        """An instant in UTC; a time without an offset is one of zone."""
        if not isinstance(default, Required) and key not in self._value:
            return default
        return _moment(self.raw(key), self.at(key), zone)

    def listed(self, key: str, read: Callable[[object, str], T]) -> list[T]:
        """Every item of a list, read by read(item, path). An absent list is empty."""
        value = self._value.get(key, [])
        if not isinstance(value, list):
            raise self.refuse(key, f"must be a list in brackets, not {_shown(value)}")
        return [read(item, f"{self.at(key)}[{number}]") for number, item in enumerate(value)]

    def part(self, key: str, keys: Collection[str]) -> "Part":
        """An object inside this one; absent, it is empty."""
        return Part(self._value.get(key, {}), self.at(key), keys)

    @property
    def keys(self) -> tuple[str, ...]:
        """The keys that stand there, in their order."""
        return tuple(self._value)

    def zone(self, key: str, default: str) -> ZoneInfo:
        name = self.text(key, default)
        try:
            return ZoneInfo(name)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            raise self.refuse(key, f"{_shown(name)} is no time zone; write one such as America/New_York") from None


def read_date(value: object, path: str) -> date:
    """A day such as 2027-03-29."""
    text = _text(value, path, 10)
    if _DATE.fullmatch(text):
        try:
            return date.fromisoformat(text)
        except ValueError:
            pass
    raise BadScenario(path, f"{_shown(text)} is no date; write it as 2027-03-29")


def read_span(value: object, path: str) -> tuple[time, time]:
    """Two clock times in order, such as ["08:00", "18:00"]."""
    if not isinstance(value, list) or len(value) != 2:
        raise BadScenario(path, f'must be two clock times such as ["08:00", "18:00"], not {_shown(value)}')
    opens, closes = (_clock(item, f"{path}[{number}]") for number, item in enumerate(value))
    if opens >= closes:
        raise BadScenario(path, f"closes at {closes:%H:%M}, which is not after {opens:%H:%M}")
    return opens, closes


def read_word(words: Sequence[str]) -> Callable[[object, str], str]:
    """A reader of one word of a list."""

    def read(value: object, path: str) -> str:
        text = _text(value, path, 200)
        if text not in words:
            raise BadScenario(path, f"is {_shown(text)}; there are {', '.join(words)}")
        return text

    return read


def _text(value: object, path: str, most: int) -> str:
    if not isinstance(value, str):
        raise BadScenario(path, f"must be a text in quotes, not {_shown(value)}")
    if len(value) > most:
        raise BadScenario(path, f"is longer than {most} characters")
    if any(unicodedata.category(character) in _UNWRITABLE and character not in "\n\t" for character in value):
        raise BadScenario(path, "holds a character that cannot be written: a control character, or half of a pair")
    return value


def _clock(value: object, path: str) -> time:
    text = _text(value, path, 10)
    if _CLOCK.fullmatch(text):
        try:
            return time.fromisoformat(text)
        except ValueError:
            pass
    raise BadScenario(path, f"{_shown(text)} is no clock time; write it from 00:00 to 23:59")


def _moment(value: object, path: str, zone: ZoneInfo) -> datetime:
    text = _text(value, path, 40)
    found = _MOMENT.fullmatch(text)
    try:
        read = datetime.fromisoformat(text) if found else None
    except ValueError:
        read = None
    if found is None or read is None:
        raise BadScenario(path, f"{_shown(text)} is no time; write it as 2027-03-26T15:00:00Z")
    if not FIRST_YEAR <= read.year <= LAST_YEAR:
        raise BadScenario(path, f"must be in a year from {FIRST_YEAR} to {LAST_YEAR}, not {_shown(text)}")
    if found["offset"]:
        return read.astimezone(UTC)
    try:
        return exact_local(read, zone)
    except LocalTimeError as unclear:
        raise BadScenario(path, str(unclear)) from unclear


def _key_shown(key: str) -> str:
    return key if key.isidentifier() and key.isascii() and len(key) <= _SHOWN else _shown(key)


def _shown(value: object) -> str:
    if isinstance(value, dict | list):
        return "an object" if isinstance(value, dict) else "a list"
    names = {None: "null", True: "true", False: "false"}
    if value is None or isinstance(value, bool):
        return names[value]
    text = ascii(value)
    return text if len(text) <= _SHOWN else f"{text[:_SHOWN]}..."
