"""The days of a tape as a small calendar: whole weeks, as they hang on the wall in the clinic's country."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

# Unicode CLDR, supplemental data, weekData firstDay, without variants: everywhere else a week begins on Monday.
_SATURDAY = frozenset({
    "AF", "BH", "DJ", "DZ", "EG", "IQ", "IR", "JO", "KW", "LY", "OM", "QA", "SD", "SY",
})  # fmt: skip
_SUNDAY = frozenset({
    "AG", "AS", "BD", "BR", "BS", "BT", "BW", "BZ", "CA", "CO", "DM", "DO", "ET", "GT", "GU", "HK", "HN", "ID", "IL",
    "IN", "JM", "JP", "KE", "KH", "KR", "LA", "MH", "MM", "MO", "MT", "MX", "MZ", "NI", "NP", "PA", "PE", "PH",
    "PK", "PR", "PT", "PY", "SA", "SG", "SV", "TH", "TT", "TW", "UM", "US", "VE", "VI", "WS", "YE", "ZA", "ZW",
})  # fmt: skip
_FRIDAY = frozenset({"MV"})

SHORT_WEEKDAYS = ("Mo", "Tu", "We", "Th", "Fr", "Sa", "Su")
"""Heads of columns, from Monday on; the whole word is there for whoever listens."""


class DayMark(StrEnum):
    """What a day is for a tape; each has a shape of its own."""

    WENT_ON = "went_on"
    WORN = "worn"
    MAY = "may"
    OFF = "off"
    LATE = "late"


@dataclass(frozen=True, slots=True)
class Cell:
    """One square of the calendar; mark is None for a day that has nothing to do with the tape."""

    day: date
    mark: DayMark | None


def first_weekday(country: str) -> int:
    """Return the day with which weeks begin in a country (ISO 3166-1, two letters): Monday is 0, Sunday 6."""
    key = country.upper()
    if key in _SUNDAY:
        return 6
    if key in _SATURDAY:
        return 5
    return 4 if key in _FRIDAY else 0


def day_mark(day: date, *, went_on: date, opens_on: date, closes_on: date, removal_day: date) -> DayMark:
    """Return what `day` is for a tape that went on on `went_on`; all of them the clinic's dates."""
    if day > closes_on:
        return DayMark.LATE
    if day == removal_day:
        return DayMark.OFF
    if day == went_on:
        return DayMark.WENT_ON
    return DayMark.MAY if day >= opens_on else DayMark.WORN


def weeks(marks: Mapping[date, DayMark], begins: int) -> Sequence[Sequence[Cell]]:
    """Return the whole weeks in which those days lie, each from weekday `begins` on. Raises ValueError for no day."""
    first, last = min(marks), max(marks)
    day = first - timedelta(days=(first.weekday() - begins) % 7)
    found: list[list[Cell]] = []
    while day <= last:
        week = [day + timedelta(days=number) for number in range(7)]
        found.append([Cell(one, marks.get(one)) for one in week])
        day += timedelta(days=7)
    return found
