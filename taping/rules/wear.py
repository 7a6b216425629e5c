"""When the tape may be moved in, wetted and taken off.

Minutes and hours are elapsed time, so they are added in UTC; wear is counted in calendar days of the clinic's
zone, so a clock change moves neither the day nor the hour on the wall.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from taping.rules.bounds import OutOfBoundsError
from taping.rules.clock import elapsed, local_date, require_aware
from taping.rules.policy import BOUNDS, require_ordered_days

_DAY = timedelta(days=1)


class WindowError(OutOfBoundsError):
    """A wear window that cannot be; the text names the days and says what would work."""


@dataclass(frozen=True, slots=True)
class WearWindow:
    """The calendar days on which the tape should come off, first and last included; earlier is always allowed."""

    opens_on: date
    closes_on: date
    applied_on: date
    reasons: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.applied_on < self.opens_on <= self.closes_on:
            raise WindowError(
                f"a tape of {self.applied_on} cannot have a wear window from {self.opens_on} to {self.closes_on}; "
                "it begins after the day of the tape and does not end before it begins"
            )

    def days(self) -> tuple[date, ...]:
        """Return every day of the window in order."""
        return tuple(self.opens_on + _DAY * n for n in range((self.closes_on - self.opens_on).days + 1))

    def day_number(self, day: date) -> int:
        """Return how many calendar days after the application ``day`` is."""
        return (day - self.applied_on).days


@dataclass(frozen=True, slots=True)
class RemovalOptions:
    """Days on which the tape can come off: at the clinic inside the window, at home, or at the clinic before it."""

    visit_days: tuple[date, ...]
    home_day: date
    last_open_before: date | None
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ShorterWear:
    """A proposal to the therapist: take the tape off between these days after the application."""

    first_day: int
    last_day: int
    reasons: tuple[str, ...]


def adhesion_ends(applied_at: datetime, minutes: int = 20) -> datetime:
    """Return when easy movement may begin, ``minutes`` after the last strip, in the zone of ``applied_at``.

    It permits no exercise: that stays with the therapist.

    Raises:
        ClockError, OutOfBoundsError: when the time is naive, or the minutes are outside 20 to 120.
    """
    wait = BOUNDS["adhesion_minutes"].check(minutes)
    return elapsed(require_aware("The time of the tape", applied_at), timedelta(minutes=wait))


def water_ends(applied_at: datetime, minutes: int = 60) -> datetime:
    """Return when sweat, shower and swimming may begin, ``minutes`` after the last strip.

    Raises:
        ClockError, OutOfBoundsError: when the time is naive, or the minutes are outside 20 to 240.
    """
    wait = BOUNDS["water_minutes"].check(minutes)
    return elapsed(require_aware("The time of the tape", applied_at), timedelta(minutes=wait))


def earliest_taping(exercise_ended_at: datetime, drying_minutes: int) -> datetime:
    """Return when skin may be taped, ``drying_minutes`` after exercise; it must be dry to the touch as well.

    Raises:
        ClockError, OutOfBoundsError: when the time is naive, or the minutes are outside 0 to 240.
    """
    wait = BOUNDS["drying_minutes"].check(drying_minutes)
    return elapsed(require_aware("The end of the exercise", exercise_ended_at), timedelta(minutes=wait))


def skin_rest_ends(removed_at: datetime, hours: int = 24) -> datetime:
    """Return when this skin may be taped again, ``hours`` after the tape came off.

    Raises:
        ClockError, OutOfBoundsError: when the time is naive, or the hours are outside 1 to 168.
    """
    rest = BOUNDS["skin_rest_hours"].check(hours)
    return elapsed(require_aware("The time of removal", removed_at), timedelta(hours=rest))


def wear_window(applied_at: datetime, zone: ZoneInfo, first_day: int = 4, last_day: int = 5) -> WearWindow:
    """Return the days on which the tape should come off; day n is the application's date in ``zone`` plus n.

    Raises:
        ClockError: when the time is naive or ``zone`` is no ``ZoneInfo``.
        OutOfBoundsError: when a day is outside 1 to 7, or the first is after the last.
    """
    require_ordered_days(first_day, last_day)
    applied_on = local_date(applied_at, zone)
    try:
        opens_on, closes_on = applied_on + _DAY * first_day, applied_on + _DAY * last_day
    except OverflowError:
        raise WindowError(f"a tape of {applied_on} would end outside the calendar; give a nearer day") from None
    return WearWindow(opens_on, closes_on, applied_on, _window_reasons(applied_on, zone, opens_on, closes_on))


def _window_reasons(applied_on: date, zone: ZoneInfo, opens_on: date, closes_on: date) -> tuple[str, ...]:
    first, last = (opens_on - applied_on).days, (closes_on - applied_on).days
    return (
        f"Taped on {spell_day(applied_on)} (day 0, on the clock of {zone.key}).",
        f"Day {first} is {spell_day(opens_on)}; day {last} is {spell_day(closes_on)}.",
        "Whole calendar days are counted, not hours; earlier is always allowed.",
    )


def spell_day(day: date) -> str:
    """Return a day as therapists read it: ``Tue 30 Mar 2027``."""
    return f"{day:%a} {day.day} {day:%b %Y}"


def shorten_window(window: WearWindow, last_day: int, *, why: str) -> WearWindow:
    """Return the window ended on day ``last_day`` after the application, at the therapist's word.

    A window that would begin after its new end begins on it. Nothing lengthens a window, and replacing a strip
    does not begin the skin's days anew.

    Raises:
        WindowError: when that day is after the window's last, or no reason is given.
        OutOfBoundsError: when the day is outside 1 to 7.
    """
    BOUNDS["last_day"].check(last_day)
    closes_on = window.applied_on + _DAY * last_day
    if closes_on > window.closes_on:
        longest = window.day_number(window.closes_on)
        raise WindowError(f"day {last_day} would lengthen the wear window; give a day from 1 to {longest}")
    if not why.strip():
        raise WindowError("a shorter wear window needs the therapist's reason in words")
    reason = f"Shortened to day {last_day}, {spell_day(closes_on)}: {why.strip()}"
    opens_on = min(window.opens_on, closes_on)
    return replace(window, opens_on=opens_on, closes_on=closes_on, reasons=(*window.reasons, reason))


def suggest_shorter(*, caution: bool, child: bool) -> ShorterWear | None:
    """Return a proposal of 1 to 3 days where the screen found a caution or the patient is a child, else None.

    Source: several pages say "no more than 3 days"; that it fits cautions and children is common practice,
    no source. The therapist decides.
    """
    causes = [text for found, text in ((caution, "the screen found a caution"), (child, "a child wears it")) if found]
    if not causes:
        return None
    return ShorterWear(1, 3, (f"Take it off after 1 to 3 days: {' and '.join(causes)} (common practice, no source).",))


def removal_options(window: WearWindow, is_open: Callable[[date], bool]) -> RemovalOptions:
    """Return when the tape can come off, given the days on which the clinic is open.

    ``last_open_before`` is set when the clinic is closed on every day of the window: the last open day before it
    and after the day of the tape, or None when there is none either.
    """
    visit_days = tuple(day for day in window.days() if is_open(day))
    home = f"At home: {spell_day(window.closes_on)}, the last day of the wear window."
    if visit_days:
        listed = ", ".join(f"{spell_day(day)} (day {window.day_number(day)})" for day in visit_days)
        return RemovalOptions(visit_days, window.closes_on, None, (f"At the clinic: {listed}.", home))
    before = _last_open_before(window, is_open)
    closed = "The clinic is closed on every day of the wear window."
    if before is None:
        options = "It is not open between the tape and the window either: somebody has to take it off at home."
    else:
        options = f"The last open day before it is {spell_day(before)} (day {window.day_number(before)})."
    return RemovalOptions((), window.closes_on, before, (closed, options, home))


def _last_open_before(window: WearWindow, is_open: Callable[[date], bool]) -> date | None:
    day = window.opens_on - _DAY
    while day > window.applied_on:
        if is_open(day):
            return day
        day -= _DAY
    return None
