"""When a log-in is asked for again: after a while without touch, and for good after a working day."""

from datetime import UTC, datetime, timedelta
from enum import StrEnum

from clinic.rules.local_time import as_instant


class SessionState(StrEnum):
    """awake: go on. locked: the same person's password is asked. over: log in anew."""

    AWAKE = "awake"
    LOCKED = "locked"
    OVER = "over"


def noted_moment(noted: object) -> datetime | None:
    """The moment that a session notes as seconds since 1970; None where it notes none."""
    return datetime.fromtimestamp(noted, UTC) if isinstance(noted, int | float) else None


def is_over(*, started_at: datetime, now: datetime, longest: timedelta) -> bool:
    """Whether a log-in that began at started_at has ended by now, however often it was touched. Both aware."""
    return as_instant(now, "now") - as_instant(started_at, "started_at") >= longest


def session_state(
    *, started_at: datetime, touched_at: datetime, now: datetime, idle: timedelta, longest: timedelta
) -> SessionState:
    """Say what becomes of a session that began at started_at and was touched last at touched_at. All aware.

    The end of each span counts as past it. A touch that lies ahead of now (the clock was set back) is as old as now.
    Raises ValueError for a naive moment.
    """
    touch, moment = as_instant(touched_at, "touched_at"), as_instant(now, "now")
    if is_over(started_at=started_at, now=now, longest=longest):
        return SessionState.OVER
    return SessionState.LOCKED if moment - touch >= idle else SessionState.AWAKE
