"""Which messages one application needs, when each is due, and why.

Days are counted in the clinic's zone; clock times are the patient's where a zone is set. Waiting times and the
day after a removal are elapsed time. All clock times and spans here are this project's own choice.
"""

from collections.abc import Iterator
from datetime import date, datetime, time, timedelta

from clinic.rules.local_time import at_clock, day_starts
from reminders.rules.facts import ApplicationFacts, MessagePolicy, Removal, VisitFacts
from reminders.rules.kinds import MessageKind
from reminders.rules.plan_visit import plan_stop_confirmed, plan_visit_messages, plan_visit_with_drops
from reminders.rules.planned import DroppedMessage, Plan, PlannedMessage, Wanted, settle

__all__ = [
    "ApplicationFacts",
    "DroppedMessage",
    "MessageKind",
    "MessagePolicy",
    "Plan",
    "PlannedMessage",
    "Removal",
    "VisitFacts",
    "plan_messages",
    "plan_stop_confirmed",
    "plan_visit_messages",
    "plan_visit_with_drops",
    "plan_with_drops",
]

SKIN_CHECK_AT = time(10, 0)
SKIN_CHECK_USELESS_AT = time(21, 0)
EVE_AT = time(18, 0)
REMOVAL_AT = time(9, 0)
EARLY_VISIT_BEFORE = time(10, 0)
OVERDUE_AT = time(10, 0)
EXERCISE_OK_USE = timedelta(hours=2)
OVERDUE_USE = timedelta(hours=12)
FOLLOW_UP_AFTER = timedelta(hours=24)
FOLLOW_UP_USE = timedelta(hours=48)
_DAY = timedelta(days=1)


def plan_messages(facts: ApplicationFacts, policy: MessagePolicy) -> tuple[PlannedMessage, ...]:
    """Return the messages that will go for this application, in the order of their time.

    The same facts give the same plan, so it can be made any number of times. Times are UTC, `expires_at` is
    exclusive, and every message carries at least one reason.
    """
    return plan_with_drops(facts, policy).messages


def plan_with_drops(facts: ApplicationFacts, policy: MessagePolicy) -> Plan:
    """Return the plan together with what was due by the rules and cannot go, each with its reason."""
    wanted = _while_on_the_skin(facts, policy) if facts.ended_at is None else _after_the_end(facts, facts.ended_at)
    return settle(wanted, facts.zone, policy)


def _while_on_the_skin(facts: ApplicationFacts, policy: MessagePolicy) -> Iterator[Wanted | DroppedMessage]:
    yield _aftercare(facts)
    if MessageKind.EXERCISE_OK in policy.optional_messages:
        yield _exercise_ok(facts)
    yield from _skin_checks(facts)
    if MessageKind.REMOVAL_EVE in policy.optional_messages:
        yield _removal_eve(facts)
    yield _removal_day(facts)
    for late in (1, 2):
        yield _removal_overdue(facts, late)


def _aftercare(facts: ApplicationFacts) -> Wanted:
    reasons = [f"the tape went on at {facts.applied_at.astimezone(facts.zone):%H:%M}"]
    due_at, not_before = facts.applied_at, facts.saved_at
    if facts.remover_by is not None:
        # It says who takes the tape off, and must not be put right by a second message a minute later.
        due_at = not_before = max(facts.saved_at, facts.remover_by)
        latest = f"{not_before.astimezone(facts.zone):%H:%M}"
        reasons.append(f"waits until it is settled who takes the tape off, {latest} at the latest")
    return Wanted(
        kind=MessageKind.AFTERCARE,
        due_at=due_at,
        not_before=not_before,
        useless_from=day_starts(facts.removal_day, facts.zone),
        reasons=tuple(reasons),
    )


def _exercise_ok(facts: ApplicationFacts) -> Wanted:
    ends_at = facts.adhesion_ends_at
    return Wanted(
        kind=MessageKind.EXERCISE_OK,
        due_at=ends_at,
        not_before=max(ends_at, facts.saved_at),
        useless_from=ends_at + EXERCISE_OK_USE,
        reasons=(f"adhesion wait of {facts.adhesion_minutes} minutes over",),
    )


def _skin_checks(facts: ApplicationFacts) -> Iterator[Wanted | DroppedMessage]:
    """Yield the checks; the ordinal is the day, so that a caution added later does not shift the second day."""
    days = (1, 2) if facts.caution else (2,) if facts.first_application else ()
    why = "a caution was noted" if facts.caution else "first application"
    for number in days:
        reasons = (f"day {number} on the skin: {why}",)
        day = facts.applied_on + number * _DAY
        if day > facts.removal_day:
            yield DroppedMessage(MessageKind.SKIN_CHECK, number, (*reasons, _after_removal_day(facts)))
            continue
        yield Wanted(
            kind=MessageKind.SKIN_CHECK,
            ordinal=number,
            due_at=at_clock(day, SKIN_CHECK_AT, facts.zone),
            not_before=facts.saved_at,
            useless_from=at_clock(day, SKIN_CHECK_USELESS_AT, facts.zone),
            reasons=reasons,
        )


def _removal_eve(facts: ApplicationFacts) -> Wanted | DroppedMessage:
    reasons = (f"{EVE_AT:%H:%M} the day before {_day_of_window(facts, facts.removal_day)}",)
    if facts.removal_visit_starts_at is not None:
        return DroppedMessage(MessageKind.REMOVAL_EVE, 1, (*reasons, "the visit's own reminder stands for it"))
    return Wanted(
        kind=MessageKind.REMOVAL_EVE,
        due_at=at_clock(facts.removal_day - _DAY, EVE_AT, facts.zone),
        not_before=facts.saved_at,
        useless_from=day_starts(facts.removal_day, facts.zone),
        reasons=reasons,
    )


def _removal_day(facts: ApplicationFacts) -> Wanted:
    visit = facts.removal_visit_starts_at
    day = facts.removal_day if visit is None else visit.astimezone(facts.zone).date()
    due_at, when = at_clock(day, REMOVAL_AT, facts.zone), f"{REMOVAL_AT:%H:%M} on the removal day"
    if visit is not None and visit < at_clock(day, EARLY_VISIT_BEFORE, facts.zone):
        due_at = at_clock(day - _DAY, EVE_AT, facts.zone)
        shown = f"{visit.astimezone(facts.zone):%H:%M}"
        when = f"{EVE_AT:%H:%M} the evening before: the visit at {shown} is before {EARLY_VISIT_BEFORE:%H:%M}"
    return Wanted(
        kind=MessageKind.REMOVAL_DAY,
        due_at=due_at,
        not_before=facts.saved_at,
        useless_from=day_starts(day + _DAY, facts.zone),
        quiet_limit=visit,
        reasons=(_day_of_window(facts, facts.removal_day), when),
    )


def _removal_overdue(facts: ApplicationFacts, late: int) -> Wanted:
    day = facts.closes_on + late * _DAY
    due_at = at_clock(day, OVERDUE_AT, facts.zone)
    return Wanted(
        kind=MessageKind.REMOVAL_OVERDUE,
        ordinal=late,
        due_at=due_at,
        not_before=facts.saved_at,
        useless_from=due_at + OVERDUE_USE,
        reasons=(f"day {_number(facts, day)}: {late} {'day' if late == 1 else 'days'} after the wear window closed",),
    )


def _after_the_end(facts: ApplicationFacts, ended_at: datetime) -> Iterator[Wanted]:
    due_at = ended_at + FOLLOW_UP_AFTER
    how = "came off by itself" if facts.ended_how == "came_off" else "was taken off"
    yield Wanted(
        kind=MessageKind.SKIN_FOLLOW_UP,
        due_at=due_at,
        not_before=max(due_at, facts.saved_at),
        useless_from=due_at + FOLLOW_UP_USE,
        reasons=(f"24 hours after the tape {how}",),
    )


def _number(facts: ApplicationFacts, day: date) -> int:
    return (day - facts.applied_on).days


def _day_of_window(facts: ApplicationFacts, day: date) -> str:
    if facts.opens_on <= day <= facts.closes_on:
        return f"day {_number(facts, day)} of the wear window"
    return f"day {_number(facts, day)}, outside the wear window"


def _after_removal_day(facts: ApplicationFacts) -> str:
    return f"after the removal day, {_day_of_window(facts, facts.removal_day)}"
