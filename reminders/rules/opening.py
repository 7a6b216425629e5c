"""Whether the clinic is open at a moment, and else when it opens next, by its own hours and closures."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from clinic.rules.local_time import as_instant, at_clock

LOOK_AHEAD = 14
"""Days after which nobody is promised an opening time any more."""


@dataclass(frozen=True, slots=True)
class Opening:
    """Whether the clinic is open now, and else when it opens next (aware; None: not within two weeks)."""

    open_now: bool
    opens_at: datetime | None


def opening(
    now: datetime, zone: ZoneInfo, hours: Mapping[int, Sequence[tuple[time, time]]], closed: Collection[date]
) -> Opening:
    """Judge now (aware). hours: weekday (Monday 0) to local spans, ends exclusive; closed: dates."""
    today = as_instant(now, "now").astimezone(zone).date()
    for number in range(LOOK_AHEAD + 1):
        day = today + timedelta(days=number)
        for opens, closes in [] if day in closed else sorted(hours.get(day.weekday(), [])):
            if at_clock(day, opens, zone) <= now < at_clock(day, closes, zone):
                return Opening(open_now=True, opens_at=None)
            if at_clock(day, opens, zone) > now:
                return Opening(open_now=False, opens_at=at_clock(day, opens, zone))
    return Opening(open_now=False, opens_at=None)
