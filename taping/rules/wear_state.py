"""What a tape is doing at a moment: setting, on the skin, due, overdue or off."""

from dataclasses import dataclass
from datetime import UTC, date, datetime
from enum import StrEnum
from zoneinfo import ZoneInfo

from taping.rules.clock import local_date, require_aware
from taping.rules.wear import WearWindow, WindowError, adhesion_ends


class TapeState(StrEnum):
    """The state of a tape, from the moment it is on the skin."""

    SETTING = "setting"
    ON = "on"
    DUE = "due"
    OVERDUE = "overdue"
    OFF = "off"


@dataclass(frozen=True, slots=True)
class WornTape:
    """What the state depends on: when it went on (aware), its wait, its days in the clinic's zone, and its end.

    Raises:
        WindowError: when the removal day is after the window, or before the day of the tape.
    """

    applied_at: datetime
    adhesion_minutes: int
    window: WearWindow
    removal_day: date
    ended: bool = False

    def __post_init__(self) -> None:
        if not self.window.applied_on <= self.removal_day <= self.window.closes_on:
            raise WindowError(
                f"the removal day {self.removal_day} is outside the wear of this tape; "
                f"give a day from {self.window.applied_on} to {self.window.closes_on}"
            )


def tape_state(now: datetime, tape: WornTape, zone: ZoneInfo) -> TapeState:
    """Return the state of ``tape`` at ``now`` (aware), with days counted in the clinic's ``zone``.

    - ``off``: it has ended, whatever else.
    - ``setting``: the adhesion wait is not over yet; at its very end it is over. A tape whose time is still ahead
      counts as setting too.
    - ``overdue``: the clinic's date is after the last day of the wear window.
    - ``due``: the clinic's date is the removal day or a later day of the window.
    - ``on``: otherwise.

    Silence never makes a tape ``off``; only its recorded end does.

    Raises:
        ClockError: when ``now`` is naive or ``zone`` is no ``ZoneInfo``.
    """
    require_aware("The moment", now)
    today = local_date(now, zone)
    if tape.ended:
        return TapeState.OFF
    # Two datetimes of one zone compare by the wall, which shows an hour twice in autumn; in UTC they do not.
    if now.astimezone(UTC) < adhesion_ends(tape.applied_at, tape.adhesion_minutes).astimezone(UTC):
        return TapeState.SETTING
    if today > tape.window.closes_on:
        return TapeState.OVERDUE
    return TapeState.DUE if today >= tape.removal_day else TapeState.ON
