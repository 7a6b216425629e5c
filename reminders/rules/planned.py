"""From a wanted message to a planned or a dropped one: its use, the time of saving and quiet hours."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from reminders.rules.facts import MessagePolicy
from reminders.rules.kinds import MessageKind
from reminders.rules.quiet import MOVED, out_of_quiet


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Settled:
    """A message as it is stored, which takes no other time any more. went: it was handed over, and may have arrived.

    Times are aware; reasons are those it was planned for, and what was added on its way.
    """

    due_at: datetime
    expires_at: datetime
    reasons: Sequence[str]
    went: bool


def is_said(planned: PlannedMessage, settled: Settled, now: datetime) -> bool:
    """Return whether `settled` already stands for `planned`, which need not be said again then. now: aware."""
    if settled.due_at == planned.due_at or planned.expires_at <= now or planned.kind.is_news:
        return True
    if settled.went and _is_same_but_for_its_hour(planned, settled):
        return True
    # A change of quiet hours moves a time that has passed; only another cause makes it news.
    return planned.due_at <= now and list(settled.reasons[:1]) == list(planned.reasons[:1])


def _is_same_but_for_its_hour(planned: PlannedMessage, settled: Settled) -> bool:
    """Whether quiet hours alone make the difference: they move neither the use of a message nor its cause.

    Another removal day, visit or zone changes one of the two, and is said.
    """
    causes = [reason for reason in planned.reasons if not reason.startswith(MOVED)]
    return settled.expires_at == planned.expires_at and all(cause in settled.reasons for cause in causes)


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
