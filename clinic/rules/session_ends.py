"""When a log-in is asked for again: after a while without touch, and for good after a working day."""

from datetime import datetime, timedelta
from enum import StrEnum

from clinic.rules.local_time import as_instant


class SessionState(StrEnum):
    """awake: go on. locked: the same person's password is asked. over: log in anew."""

    AWAKE = "awake"
    LOCKED = "locked"
    OVER = "over"


def session_state(
    *, started_at: datetime, touched_at: datetime, now: datetime, idle: timedelta, longest: timedelta
) -> SessionState:
    """Say what becomes of a session that began at started_at and was touched last at touched_at. All aware.

    The end of each span counts as past it. A touch that lies ahead of now (the clock was set back) is as old as now.
    Raises ValueError for a naive moment.
    """
    start, touch, moment = (
        as_instant(value, name)
        for value, name in ((started_at, "started_at"), (touched_at, "touched_at"), (now, "now"))
    )
    if moment - start >= longest:
        return SessionState.OVER
    return SessionState.LOCKED if moment - touch >= idle else SessionState.AWAKE
