"""Dates of birth: reading what people write, and ages from them."""

import re
import unicodedata
from collections.abc import Iterable
from datetime import date
from enum import StrEnum

EARLIEST_BIRTH = date(1900, 1, 1)
ADULT_AT = 18


class DateOrder(StrEnum):
    """The order in which somebody writes day, month and year."""

    DMY = "dmy"
    MDY = "mdy"
    YMD = "ymd"


class UnreadableDateError(ValueError):
    """A date that was not understood, with a hint what to write instead."""


class MisplacedYearError(UnreadableDateError):
    """The year stands last in a date that was to begin with it."""


class OutsideDateError(UnreadableDateError):
    """A date that exists, and lies before or after what was asked for."""


_EXAMPLE = {DateOrder.DMY: "03/04/1985", DateOrder.MDY: "04/03/1985", DateOrder.YMD: "1985-04-03"}
_MONTHS = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november",
    "december",
)  # fmt: skip
_WORDED = re.compile(
    r"(?:(?P<day1>\d{1,2}) (?P<month1>[A-Za-z]+\.?)|(?P<month2>[A-Za-z]+\.?) (?P<day2>\d{1,2})) (?P<year>\d{4})",
    re.ASCII,
)
_BARE = re.compile(r"\d+([.,]\d+)?", re.ASCII)
_PARTS = re.compile(r"(\d{1,4})([-/. ])(\d{1,2})\2(\d{1,4})", re.ASCII)


def age_on(born: date, day: date) -> int:
    """Return the age in whole years on `day`; who was born on 29 February turns on 1 March in common years.

    Raises ValueError where `day` lies before the birth.
    """
    if day < born:
        msg = f"born on {born}, after {day}"
        raise ValueError(msg)
    return day.year - born.year - ((day.month, day.day) < (born.month, born.day))


def is_minor(born: date, day: date, adult_at: int = ADULT_AT) -> bool:
    """Tell whether somebody born on `born` is younger than `adult_at` years on `day`."""
    return age_on(born, day) < adult_at


def parse_date(text: str, order: DateOrder, *, latest: date, earliest: date = EARLIEST_BIRTH) -> date:
    """Return the date written in `text`, parts in `order` or, with the year first, as year, month, day.

    Nothing is guessed: bare numbers (they may be a spreadsheet's count of days), years of fewer than four
    digits, days that do not exist and dates outside `earliest` to `latest`, both included, raise
    UnreadableDateError with a hint.
    """
    plain = " ".join(unicodedata.normalize("NFKC", text).split())
    example = _EXAMPLE[DateOrder(order)]
    if _BARE.fullmatch(plain):
        msg = f"{plain} is a bare number and may be a spreadsheet's count of days: write the date as {example}"
        raise UnreadableDateError(msg)
    found = _PARTS.fullmatch(plain)
    if found is None:
        msg = f"{plain!r} is not a date: write it like {example}"
        raise UnreadableDateError(msg)
    day = _assembled(_in_order(found.group(1, 3, 4), order, plain, example), plain, example)
    if not earliest <= day <= latest:
        msg = f"{plain} is not between {earliest} and {latest}"
        raise OutsideDateError(msg)
    return day


def parse_worded_date(text: str, *, latest: date, earliest: date = EARLIEST_BIRTH) -> date | None:
    """Return the date of "12 August 1946", "12 Aug 1946" or "August 12, 1946"; None for anything else.

    Months in English, in full or by three letters; a year of four digits.
    """
    found = _WORDED.fullmatch(" ".join(unicodedata.normalize("NFKC", text).replace(",", " ").split()))
    if found is None:
        return None
    number = next((at for at, name in enumerate(_MONTHS, 1) if _names(found["month1"] or found["month2"], name)), 0)
    try:
        day = date(int(found["year"]), number, int(found["day1"] or found["day2"]))
    except ValueError:
        return None
    return day if earliest <= day <= latest else None


def _names(word: str, month: str) -> bool:
    plain = word.casefold().rstrip(".")
    return plain == month or (len(plain) >= 3 and month.startswith(plain))


def fitting_orders(texts: Iterable[str], *, latest: date, earliest: date = EARLIEST_BIRTH) -> tuple[DateOrder, ...]:
    """Return the orders in which every one of `texts` is a date; where several are left, somebody has to say."""
    column = tuple(texts)
    return tuple(order for order in DateOrder if _all_read(column, order, latest, earliest))


def _all_read(column: tuple[str, ...], order: DateOrder, latest: date, earliest: date) -> bool:
    try:
        for text in column:
            parse_date(text, order, latest=latest, earliest=earliest)
    except UnreadableDateError:
        return False
    return True


def _in_order(parts: tuple[str, ...], order: DateOrder, plain: str, example: str) -> tuple[str, str, str]:
    first, second, third = parts
    if len(first) == 4 and len(third) <= 2:
        return first, second, third
    if len(third) == 4 and len(first) <= 2:
        if order is DateOrder.YMD:
            msg = f"{plain} does not begin with its year: write it like {example}"
            raise MisplacedYearError(msg)
        return (third, second, first) if order is DateOrder.DMY else (third, first, second)
    msg = f"{plain} needs a year of four digits: write all four, like {example}"
    raise UnreadableDateError(msg)


def _assembled(parts: tuple[str, str, str], plain: str, example: str) -> date:
    year, month, day = (int(part) for part in parts)
    try:
        return date(year, month, day)
    except ValueError:
        msg = f"{plain} does not exist (read as year {year}, month {month}, day {day}): write it like {example}"
        raise UnreadableDateError(msg) from None
