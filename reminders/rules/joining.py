"""Which messages of one patient are said together instead of one after the other."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from reminders.rules.kinds import MessageKind

WITHIN = timedelta(hours=1)
"""Messages due less than this after the first of them are said with it."""


@dataclass(frozen=True, slots=True)
class DueRow:
    """One unsent row: its id, whose it is, what it says and when it is due (aware)."""

    key: int
    patient: int
    kind: MessageKind
    due_at: datetime


@dataclass(frozen=True, slots=True)
class Together:
    """One message that goes, and the rows it speaks for as well."""

    lead: DueRow
    joined: tuple[DueRow, ...]


def said_together(rows: Iterable[DueRow], now: datetime) -> list[Together]:
    """Return the messages that go at `now` (aware), each with the rows it speaks for, in the order of their time.

    A row not yet due joins one that is, where it is due within the hour after it. Kinds that end a waiting time
    join only once they are due themselves. Rows that are not due and join nothing are left out.
    """
    groups: dict[tuple[int, MessageKind], list[DueRow]] = {}
    for row in sorted(rows, key=lambda row: (row.due_at, row.key)):
        groups.setdefault((row.patient, row.kind), []).append(row)
    together = [one for group in groups.values() for one in _split(group, now)]
    together.sort(key=lambda one: (one.lead.due_at, one.lead.key))
    return together


def _split(group: Sequence[DueRow], now: datetime) -> list[Together]:
    parts: list[list[DueRow]] = []
    for row in group:
        due = row.due_at <= now
        if parts and row.due_at - parts[-1][0].due_at < WITHIN and (due or row.kind.may_come_early):
            parts[-1].append(row)
        elif due:
            parts.append([row])
    return [Together(part[0], tuple(part[1:])) for part in parts]
