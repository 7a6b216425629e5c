"""Clock times and instants: what a zone's wall shows, and the moments between.

Everything takes and returns aware datetimes; a zone is always a ``zoneinfo.ZoneInfo``.
"""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

_DAY = timedelta(days=1)
_SECOND = timedelta(seconds=1)


class ClockError(ValueError):
    """A time that cannot be used; the text names it and says what would work."""


class LocalTimeError(ClockError):
    """A wall-clock time that does not exist, or happens twice, in its zone."""


def require_zone(zone: object) -> ZoneInfo:
    """Return ``zone`` when it is a ``ZoneInfo``.

    Raises:
        ClockError: for anything else; a fixed offset does not know the clock changes ahead.
    """
    if not isinstance(zone, ZoneInfo):
        raise ClockError(f"{zone!r} is not a time zone; give a ZoneInfo such as ZoneInfo('America/New_York')")
    return zone


def require_aware(name: str, value: object) -> datetime:
    """Return ``value`` when it is an aware datetime that some clock really shows.

    Raises:
        ClockError: when it is no datetime, is naive, or lies in the gap of a clock change.
    """
    if not isinstance(value, datetime):
        raise ClockError(f"{name} is {value!r}; give a date and time with a time zone")
    if value.utcoffset() is None:
        raise ClockError(f"{name} {value.isoformat()} has no time zone; add one, for instance +00:00")
    try:
        shown = value.astimezone(UTC).astimezone(value.tzinfo)
    except OverflowError:
        raise ClockError(f"{name} {value.isoformat()} is outside the calendar; give a nearer time") from None
    if shown.replace(tzinfo=None) != value.replace(tzinfo=None):
        raise LocalTimeError(
            f"{name} {value.isoformat()} does not exist: the clocks are put forward over it; "
            f"that moment is {shown.isoformat()}"
        )
    return value


def elapsed(start: datetime, length: timedelta) -> datetime:
    """Return the moment ``length`` of real time after ``start``, in the zone of ``start``.

    Python adds a duration to an aware datetime on the wall, where an hour can be missing or there twice;
    only in UTC is twenty minutes later twenty minutes later.

    Raises:
        ClockError: when the result is beyond the calendar.
    """
    try:
        return (start.astimezone(UTC) + length).astimezone(start.tzinfo)
    except OverflowError:
        raise ClockError(f"{start.isoformat()} plus {length} is outside the calendar; give a nearer time") from None


def local_date(moment: datetime, zone: ZoneInfo) -> date:
    """Return the calendar day that ``moment`` (aware) falls on in ``zone``."""
    return require_aware("The moment", moment).astimezone(require_zone(zone)).date()


def local_time(naive_local: datetime, zone: ZoneInfo) -> datetime:
    """Return the wall-clock time ``naive_local`` of ``zone`` as an aware datetime.

    Raises:
        LocalTimeError: when clocks there never show it, or show it twice; both readings are named in UTC.
        ClockError: when it already has a zone, or ``zone`` is none.
    """
    require_zone(zone)
    if not isinstance(naive_local, datetime) or naive_local.tzinfo is not None:
        raise ClockError(f"{naive_local!r} is not a plain local time; leave the zone out, it is {zone.key}")
    first, second = (naive_local.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if first.utcoffset() == second.utcoffset():
        return first
    early, late = sorted(reading.astimezone(UTC) for reading in (first, second))
    wall = f"{naive_local:%Y-%m-%d %H:%M}"
    readings = f"{early:%Y-%m-%dT%H:%M}Z or {late:%Y-%m-%dT%H:%M}Z"
    if late.astimezone(zone).replace(tzinfo=None) == naive_local:
        raise LocalTimeError(f"{wall} happens twice in {zone.key}: {readings}; say which, with an offset from UTC")
    raise LocalTimeError(
        f"{wall} does not exist in {zone.key}: the clocks are put forward over it ({readings}); "
        f"{early.astimezone(zone):%H:%M} and {late.astimezone(zone):%H:%M} exist"
    )


def day_bounds(day: date, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """Return the UTC range of the calendar day ``day`` in ``zone``: first moment in it, first moment after it.

    A day with a clock change has 23, 25 or another number of hours. A day that the zone left out
    altogether gives an empty range.

    Raises:
        ClockError: when the day is at the end of the calendar, or ``zone`` is none.
    """
    require_zone(zone)
    try:
        return _first_moment(day, zone), _first_moment(day + _DAY, zone)
    except OverflowError:
        raise ClockError(f"{day.isoformat()} is outside the calendar; give a nearer day") from None


def _first_moment(day: date, zone: ZoneInfo) -> datetime:
    midnight = datetime.combine(day, time.min, zone)
    after = midnight.astimezone(UTC)
    before = midnight.replace(fold=1).astimezone(UTC)
    # Only where midnight is skipped does the second reading come before the first. The gap may have begun before
    # midnight, so the day begins at the change of the clocks itself, somewhere between the two readings.
    while after - before > _SECOND:
        middle = before + (after - before) // 2
        if middle.astimezone(zone).date() < day:
            before = middle
        else:
            after = middle
    return after.replace(microsecond=0)
