"""The stored days of a tape: how they are first set, shortened and moved with a corrected time."""

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from clinic.models import Clinic
from taping.models import Application
from taping.rules.bounds import OutOfBoundsError
from taping.rules.clock import local_date
from taping.rules.wear import WearWindow, shorten_window, spell_day, wear_window
from taping.services.refusals import TapingRefused


@dataclass(frozen=True, slots=True)
class Shortening:
    """The therapist's word that the tape comes off by day last_day after the application, and why."""

    last_day: int
    why: str


def window_of_clinic(applied_at: datetime, clinic: Clinic, shortening: Shortening | None) -> WearWindow:
    """The wear window by the clinic's numbers. Raises TapingRefused where a shortening is none."""
    window = wear_window(applied_at, clinic.zone, clinic.wear_first_day, clinic.wear_last_day)
    return shortened(window, shortening) if shortening else window


def shortened(window: WearWindow, shortening: Shortening) -> WearWindow:
    try:
        return shorten_window(window, shortening.last_day, why=shortening.why)
    except OutOfBoundsError as refused:
        field = "last_day" if shortening.why.strip() else "shorten_why"
        raise TapingRefused(_sentence(refused), field) from refused


def window_of(application: Application, zone: ZoneInfo) -> WearWindow:
    """The stored window of a tape; its days are those of the clinic's zone."""
    applied_on = local_date(application.applied_at, zone)
    return WearWindow(application.opens_on, application.closes_on, applied_on)


def window_moved(application: Application, applied_at: datetime, zone: ZoneInfo) -> WearWindow:
    """The window for a corrected time: the same day numbers counted from the corrected day."""
    old = window_of(application, zone)
    first, last = old.day_number(application.opens_on), old.day_number(application.closes_on)
    return wear_window(applied_at, zone, first, last)


def window_store(application: Application, window: WearWindow, zone: ZoneInfo) -> None:
    """Set the days on an unsaved change: the removal day is the visit's, else the last day of the window.

    Raises TapingRefused where the removal visit would come after the window.
    """
    application.opens_on, application.closes_on = window.opens_on, window.closes_on
    application.removal_day = window.closes_on
    if application.removal_visit is None:
        return
    day = local_date(application.removal_visit.starts_at, zone)
    if day > window.closes_on:
        raise TapingRefused(
            f"The visit to take it off is on {spell_day(day)}, after the new last day {spell_day(window.closes_on)}. "
            "Move the visit first.",
            "last_day",
        )
    application.removal_day = day


def _sentence(error: Exception) -> str:
    text = str(error)
    return f"{text[:1].upper()}{text[1:]}."
