"""In which order a whole column of dates is written; nobody guesses it line by line."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date

from clinic.rules.ages import DateOrder, MisplacedYearError, OutsideDateError, UnreadableDateError, parse_date

TYPED_ORDERS = (DateOrder.DMY, DateOrder.MDY)


@dataclass(slots=True)
class DateColumn:
    """What a column has shown so far. A date that fits one order only speaks for it; one that fits none is silent."""

    speaks_for: dict[DateOrder, int] = field(default_factory=lambda: dict.fromkeys(TYPED_ORDERS, 0))
    either_way: int = 0

    def look(self, texts: Iterable[str], *, latest: date) -> None:
        for text in texts:
            read = {order: _read(text, order, latest) for order in TYPED_ORDERS}
            fits = [order for order, day in read.items() if day is not None]
            if len(fits) == 1:
                self.speaks_for[fits[0]] += 1
            elif len(fits) == 2 and read[DateOrder.DMY] != read[DateOrder.MDY]:
                self.either_way += 1

    @property
    def order(self) -> DateOrder | None:
        """The whole column's order; None where it has to be said: some read two ways, and nothing, or both, speak."""
        speaking = [order for order, count in self.speaks_for.items() if count]
        if len(speaking) == 1:
            return speaking[0]
        return None if self.either_way else DateOrder.YMD


def read_date(text: str, order: DateOrder | None, *, latest: date) -> date:
    """A date in the order of its column. Where that is not known, only what reads one way is read.

    Raises UnreadableDateError; AmbiguousDateError where the order has to be said.
    """
    if order in TYPED_ORDERS:
        return parse_date(text, order, latest=latest)
    read = {_read(text, one, latest) for one in TYPED_ORDERS} - {None}
    if len(read) == 1:
        return read.pop() or latest
    if not read:
        raise _why_not(text, latest)
    words = " or ".join(f"{day.day} {day:%B %Y}" for day in sorted(day for day in read if day))
    raise AmbiguousDateError(f"{text.strip()} may be {words}: say in which order this column is written")


class AmbiguousDateError(UnreadableDateError):
    """A date that reads two ways in a column whose order nobody has said."""


def _why_not(text: str, latest: date) -> UnreadableDateError:
    """The reason that helps most, for a text that is no date in any order."""
    reasons: list[UnreadableDateError] = []
    for order in (DateOrder.YMD, *TYPED_ORDERS):
        try:
            parse_date(text, order, latest=latest)
        except UnreadableDateError as unreadable:
            reasons.append(unreadable)
    if isinstance(reasons[0], MisplacedYearError):
        words = "does not exist, whichever of day and month comes first: write the date like 1985-04-03"
        reasons[0] = UnreadableDateError(f"{text.strip()} {words}")
    return next((reason for reason in reasons if isinstance(reason, OutsideDateError)), reasons[0])


def _read(text: str, order: DateOrder, latest: date) -> date | None:
    try:
        return parse_date(text, order, latest=latest)
    except UnreadableDateError:
        return None
