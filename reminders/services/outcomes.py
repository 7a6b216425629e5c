"""What an attempt that did not succeed means for its message."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from random import Random

from reminders.models import Message
from reminders.rules.outbox import MessageState, may_send_once_more
from reminders.rules.retry import Outcome, next_attempt, sort_http, sort_silence, sort_smtp
from reminders.services.due_rows import DueMessage
from reminders.transports import TransportError

REPEAT_AFTER = timedelta(minutes=1)
"""How long after silence a safety message is sent once more."""


@dataclass(frozen=True, slots=True)
class Next:
    """The state a row takes now, when it is looked at again, why, and whether its channel is given up."""

    state: MessageState
    why: str
    wake_at: datetime
    give_up: bool = False


def outcome_of(error: TransportError) -> Outcome:
    """The one place that sorts errors: soon, later, never, or nobody knows."""
    if error.code is None:
        return sort_silence(handed_over=error.handed_over)
    return sort_smtp(error.code) if error.protocol == "smtp" else sort_http(error.code)


def after_error(row: Message | DueMessage, error: TransportError, now: datetime) -> Next:
    """What follows for row after its attempt at now (aware) ended in error; row.attempts counts this one."""
    outcome = outcome_of(error)
    why = f"{error}" if error.code is None else f"{error} ({error.code})"
    if outcome is Outcome.UNCERTAIN:
        again = may_send_once_more(is_safety=row.safety, repeats=row.repeats)
        return Next(MessageState.UNCERTAIN, why, now + REPEAT_AFTER if again else now)
    if outcome is Outcome.NEVER:
        return Next(MessageState.FAILED, why, now, give_up=True)
    # Chance that is the same in every run of the same plan: a rehearsal can be repeated.
    chance = Random(f"{row.subject}:{row.kind}:{row.ordinal}:{row.attempts}")
    wait = error.retry_after or timedelta(0)
    at = next_attempt(outcome, row.attempts, now, row.expires_at, chance.random, wait)
    if at is not None:
        return Next(MessageState.PLANNED, why, at)
    return Next(MessageState.FAILED, why, now, give_up=True)
