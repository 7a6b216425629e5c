"""Which messages one visit needs, and the one answer to a STOP."""

from collections.abc import Iterator
from datetime import datetime, timedelta

from clinic.rules.local_time import as_instant
from reminders.rules.facts import MessagePolicy, VisitFacts
from reminders.rules.kinds import MessageKind
from reminders.rules.planned import DroppedMessage, Plan, PlannedMessage, Wanted, settle

REMIND_BEFORE = timedelta(hours=24)
STOP_CONFIRMED_USE = timedelta(hours=1)


def plan_visit_messages(facts: VisitFacts, policy: MessagePolicy) -> tuple[PlannedMessage, ...]:
    """Return the messages that will go for this visit, in the order of their time (UTC)."""
    return plan_visit_with_drops(facts, policy).messages


def plan_visit_with_drops(facts: VisitFacts, policy: MessagePolicy) -> Plan:
    """Return the plan together with what cannot go, each with its reason.

    Of booking, change and cancellation only the newest is planned: it says all that is still true, and what has
    already gone out is not taken back by leaving it out here.
    """
    return settle(_wanted(facts), facts.zone, policy)


def plan_stop_confirmed(stopped_at: datetime) -> PlannedMessage:
    """Return the answer to a STOP that came in at `stopped_at` (aware): at once, quiet hours or not."""
    at = as_instant(stopped_at, "stopped_at")
    reasons = ("the one answer to a STOP, at once",)
    return PlannedMessage(MessageKind.STOP_CONFIRMED, 1, at, at + STOP_CONFIRMED_USE, reasons)


def _wanted(facts: VisitFacts) -> Iterator[Wanted | DroppedMessage]:
    if facts.cancelled_at is not None:
        yield _news(facts, MessageKind.VISIT_CANCELLED, 1, facts.cancelled_at)
        return
    told_at = facts.booked_at
    if facts.changed_at is None:
        yield _news(facts, MessageKind.VISIT_BOOKED, 1, told_at)
    else:
        told_at = facts.changed_at
        yield _news(facts, MessageKind.VISIT_CHANGED, facts.changes, told_at)
    yield _reminder(facts, told_at)


def _news(facts: VisitFacts, kind: MessageKind, ordinal: int, at: datetime) -> Wanted:
    word = kind.value.removeprefix("visit_")
    reasons = (f"at once: the visit was {word} at {at.astimezone(facts.zone):%H:%M}",)
    return Wanted(kind=kind, ordinal=ordinal, due_at=at, not_before=at, useless_from=facts.starts_at, reasons=reasons)


def _reminder(facts: VisitFacts, told_at: datetime) -> Wanted | DroppedMessage:
    due_at = facts.starts_at - REMIND_BEFORE
    reasons = ("24 hours before the visit",)
    if due_at <= told_at:
        why = f"the patient was told at {told_at.astimezone(facts.zone):%H:%M}, less than 24 hours before"
        return DroppedMessage(MessageKind.VISIT_REMINDER, 1, (*reasons, why))
    return Wanted(
        kind=MessageKind.VISIT_REMINDER,
        due_at=due_at,
        not_before=told_at,
        useless_from=facts.starts_at,
        reasons=reasons,
    )
