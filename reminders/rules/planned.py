"""From a wanted message to a planned or a dropped one: its use, the time of saving and quiet hours."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from reminders.rules.facts import MessagePolicy
from reminders.rules.kinds import MessageKind
from reminders.rules.quiet import out_of_quiet


@dataclass(frozen=True, slots=True)
class PlannedMessage:
    """A message that will go: `due_at` and the exclusive `expires_at` in UTC, and why, in words."""

    kind: MessageKind
    ordinal: int
    due_at: datetime
    expires_at: datetime
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class DroppedMessage:
    """A message that was due by the rules and cannot go, and why, in words."""

    kind: MessageKind
    ordinal: int
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """What goes, in the order of its time, and what was dropped."""

    messages: tuple[PlannedMessage, ...]
    dropped: tuple[DroppedMessage, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """A message as the rule puts it, before quiet hours.

    `not_before` (never earlier, whatever moves it) and `useless_from` (exclusive) bound it; `quiet_limit` is an
    earlier bound for moving alone, such as the visit a message announces.
    """

    kind: MessageKind
    ordinal: int = 1
    due_at: datetime
    not_before: datetime
    useless_from: datetime
    reasons: tuple[str, ...]
    quiet_limit: datetime | None = None


def is_said(planned: PlannedMessage, now: datetime, *, due_at: datetime, reasons: Sequence[str]) -> bool:
    """Return whether what was planned for `due_at`, for `reasons`, and is settled already stands for `planned`.

    What it stands for need not be said again. All times are aware.
    """
    if due_at == planned.due_at or planned.expires_at <= now or planned.kind.is_news:
        return True
    # A change of quiet hours moves a time that has passed; only another cause makes it news.
    return planned.due_at <= now and list(reasons[:1]) == list(planned.reasons[:1])


def settle(wanted: Iterable[Wanted | DroppedMessage], zone: ZoneInfo, policy: MessagePolicy) -> Plan:
    """Return the plan for what is `wanted`, moved out of the quiet hours on the clocks of `zone`."""
    messages: list[PlannedMessage] = []
    dropped: list[DroppedMessage] = []
    for item in wanted:
        settled = item if isinstance(item, DroppedMessage) else _settle_one(item, zone, policy)
        if isinstance(settled, DroppedMessage):
            dropped.append(settled)
        else:
            messages.append(settled)
    messages.sort(key=lambda message: message.due_at)
    return Plan(tuple(messages), tuple(dropped))


def _settle_one(item: Wanted, zone: ZoneInfo, policy: MessagePolicy) -> PlannedMessage | DroppedMessage:
    moved = out_of_quiet(
        item.due_at,
        zone,
        policy.quiet_from,
        policy.quiet_until,
        not_after=item.quiet_limit or item.useless_from,
        not_before=item.not_before,
    )
    reasons = item.reasons if moved.reason is None else (*item.reasons, moved.reason)
    if moved.at is None:
        return DroppedMessage(item.kind, item.ordinal, reasons)
    return PlannedMessage(item.kind, item.ordinal, moved.at, item.useless_from, reasons)
