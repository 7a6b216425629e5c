"""What an attempt that failed means: soon, later, never, or nobody knows; and how often again.

Reply codes: RFC 5321, 4.2 (SMTP), RFC 9110 (HTTP).
"""

from datetime import UTC, datetime, timedelta

import pytest

from reminders.models import Message
from reminders.rules.outbox import MessageState
from reminders.rules.retry import Outcome
from reminders.services.outcomes import REPEAT_AFTER, after_error, outcome_of
from reminders.transports import TransportError

NOW = datetime(2027, 3, 10, 15, 0, tzinfo=UTC)


def error(code: int | None = None, *, protocol: str = "smtp", handed_over: bool = False) -> TransportError:
    return TransportError("no", protocol=protocol, code=code, handed_over=handed_over)


def row(**values: object) -> Message:
    usual = {"subject": "application:7", "kind": "removal_day", "safety": True, "attempts": 1}
    return Message(**{**usual, "expires_at": NOW + timedelta(hours=6), **values})


@pytest.mark.parametrize(
    ("protocol", "code", "outcome"),
    [
        ("smtp", 421, Outcome.RETRY_SOON),
        ("smtp", 451, Outcome.RETRY_SOON),
        ("smtp", 452, Outcome.RETRY_LATER),
        ("smtp", 535, Outcome.RETRY_LATER),
        ("smtp", 550, Outcome.NEVER),
        ("smtp", 554, Outcome.NEVER),
        ("http", 429, Outcome.RETRY_LATER),
        ("http", 500, Outcome.RETRY_SOON),
        ("http", 503, Outcome.RETRY_SOON),
        ("http", 504, Outcome.UNCERTAIN),
        ("http", 400, Outcome.NEVER),
        ("http", 302, Outcome.NEVER),
    ],
)
def test_each_protocol_s_codes_are_sorted_by_its_own_table(protocol: str, code: int, outcome: Outcome) -> None:
    assert outcome_of(error(code, protocol=protocol)) is outcome


@pytest.mark.parametrize(("handed_over", "outcome"), [(True, Outcome.UNCERTAIN), (False, Outcome.RETRY_SOON)])
def test_a_silence_counts_by_what_came_before_it(handed_over: bool, outcome: Outcome) -> None:
    assert outcome_of(error(handed_over=handed_over)) is outcome


def test_a_temporary_fault_plans_it_again_with_its_reason() -> None:
    after = after_error(row(), error(451), NOW)
    assert (after.state, after.why, after.give_up) == (MessageState.PLANNED, "no (451)", False)
    assert timedelta(seconds=48) <= after.wake_at - NOW <= timedelta(seconds=72)


def test_delays_grow() -> None:
    delays = [after_error(row(attempts=number), error(451), NOW).wake_at - NOW for number in (1, 3, 5)]
    assert delays == sorted(delays)
    assert delays[-1] > timedelta(minutes=12)


def test_the_same_row_draws_the_same_delay_and_another_row_another() -> None:
    first, again = (after_error(row(), error(451), NOW).wake_at for _ in range(2))
    other = after_error(row(subject="application:8"), error(451), NOW).wake_at
    assert first == again != other


def test_no_attempt_beyond_its_use() -> None:
    after = after_error(row(expires_at=NOW + timedelta(seconds=40)), error(451), NOW)
    assert (after.state, after.give_up) == (MessageState.FAILED, True)


def test_a_permanent_fault_gives_the_channel_up_even_before_the_first_attempt() -> None:
    after = after_error(row(attempts=0), error(552), NOW)
    assert (after.state, after.give_up, after.wake_at) == (MessageState.FAILED, True, NOW)


@pytest.mark.parametrize(
    ("safety", "repeats", "waits"), [(True, 0, REPEAT_AFTER), (True, 1, timedelta(0)), (False, 0, timedelta(0))]
)
def test_a_silence_after_handing_over_is_uncertain(safety: bool, repeats: int, waits: timedelta) -> None:
    after = after_error(row(safety=safety, repeats=repeats), error(handed_over=True), NOW)
    assert (after.state, after.wake_at - NOW, after.give_up) == (MessageState.UNCERTAIN, waits, False)


def test_the_other_side_s_wish_to_be_left_alone_is_kept() -> None:
    busy = TransportError("no", protocol="http", code=429, retry_after=timedelta(hours=2))
    assert after_error(row(), busy, NOW).wake_at == NOW + timedelta(hours=2)
