"""What became of the tapes of an invented clinic, by their number: 0 is today's last, and they go back from there."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

_DAY = timedelta(days=1)
MINUTES_OF_A_DAY = 600
WORN_DAYS = 5
OVERDUE_UNTIL = 9
TEXT = (
    "Your tape comes off today. Sit down, put oil on the tape, wait ten minutes, then lift the end and press the skin "
    "down beside it. If it hurts, stop and call us. [link]"
)


@dataclass(frozen=True, slots=True)
class Tape:
    """One tape. Times are aware UTC; days_ago: since it went on."""

    number: int
    days_ago: int
    screened_at: datetime
    applied_at: datetime
    opens_on: date
    closes_on: date
    ended_at: datetime | None
    ended_how: str
    reported_at: datetime | None

    @property
    def is_overdue(self) -> bool:
        return self.ended_at is None and self.days_ago > WORN_DAYS

    @property
    def report_is_open(self) -> bool:
        return self.reported_at is not None and self.ended_at is None


@dataclass(frozen=True, slots=True)
class Said:
    """One message about a tape."""

    kind: str
    at: datetime
    state: str
    safety: bool
    why: str = ""
    text: str = ""


def tape_of(number: int, *, a_day: int, now: datetime) -> Tape:
    """One in fifty of those that should be off is still on, one in nine came off early, one in forty made an itch."""
    days_ago, turn = divmod(number, a_day)
    applied = now - days_ago * _DAY - timedelta(minutes=1 + turn * MINUTES_OF_A_DAY // a_day)
    on = applied.date()
    worn = (3 if number % 9 == 0 else WORN_DAYS) * _DAY - timedelta(hours=turn % 24)
    late = number % 50 == 7 and days_ago <= OVERDUE_UNTIL
    ended = applied + worn if applied + worn <= now and not late else None
    reported = applied + 2 * _DAY if number % 40 == 5 and applied + 2 * _DAY <= now else None
    how = "" if ended is None else "came_off" if number % 9 == 0 else "off"
    return Tape(
        number, days_ago, applied - timedelta(minutes=20), applied, on + 4 * _DAY, on + 5 * _DAY, ended, how, reported
    )


def messages_of(tape: Tape, *, now: datetime) -> Iterator[Said]:
    """Five messages: what was due has gone or is not wanted any more, and what is still to come is planned."""
    off = tape.ended_at
    moments = (
        ("aftercare", tape.applied_at),
        ("skin_check", tape.applied_at + 2 * _DAY),
        ("removal_day", tape.applied_at + 5 * _DAY),
        ("removal_overdue", tape.applied_at + 6 * _DAY),
        ("skin_follow_up", (off or tape.applied_at + 6 * _DAY) + _DAY),
    )
    for place, (kind, at) in enumerate(moments):
        wanted = off is None or off > at or kind == "skin_follow_up"
        safety = kind != "skin_follow_up"
        if not wanted:
            yield Said(kind, at, "dropped", safety, "the tape is off")
        elif at > now:
            yield Said(kind, at, "planned", safety)
        elif (tape.number + place) % 400 == 0:
            yield Said(kind, at, "failed" if tape.number % 3 else "missed", safety, "the mailbox is full")
        else:
            yield Said(kind, at, "sent", safety, text=TEXT)
