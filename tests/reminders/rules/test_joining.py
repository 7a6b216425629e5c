"""Messages of one patient that are said together."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reminders.rules.joining import DueRow, said_together
from reminders.rules.kinds import MessageKind

NINE = datetime(2027, 3, 31, 9, 0, tzinfo=UTC)
K = MessageKind


def row(key: int, minutes: int = 0, *, patient: int = 1, kind: MessageKind = K.REMOVAL_DAY) -> DueRow:
    return DueRow(key, patient, kind, NINE + timedelta(minutes=minutes))


def keys(*rows: DueRow, now: int = 0) -> list[tuple[int, ...]]:
    """Return the keys of each message that goes so many minutes after nine, its own first."""
    together = said_together(rows, NINE + timedelta(minutes=now))
    return [(one.lead.key, *(joined.key for joined in one.joined)) for one in together]


def test_two_tapes_that_come_off_at_nine_are_one_message() -> None:
    assert keys(row(1), row(2)) == [(1, 2)]


def test_a_row_due_within_the_hour_is_said_now() -> None:
    assert keys(row(2, 59), row(1)) == [(1, 2)]


def test_a_row_due_a_whole_hour_later_waits_for_its_own_time() -> None:
    assert keys(row(1), row(2, 60)) == [(1,)]


def test_the_hour_is_counted_from_the_first_and_does_not_creep() -> None:
    assert keys(row(1), row(2, 40), row(3, 80), now=80) == [(1, 2), (3,)]


def test_two_patients_are_never_told_together() -> None:
    assert keys(row(1), row(2, patient=2)) == [(1,), (2,)]


def test_two_kinds_are_never_told_together() -> None:
    assert keys(row(1), row(2, kind=K.SKIN_CHECK)) == [(1,), (2,)]


def test_nothing_goes_before_its_first_is_due() -> None:
    assert keys(row(1, 1), row(2, 2)) == []


def test_a_row_due_this_very_moment_goes() -> None:
    assert keys(row(1, 5), now=5) == [(1,)]


@pytest.mark.parametrize("kind", [K.AFTERCARE, K.EXERCISE_OK, K.SKIN_FOLLOW_UP])
def test_the_end_of_a_wait_is_not_said_too_early_for_the_second_tape(kind: MessageKind) -> None:
    first, second = row(1, kind=kind), row(2, 10, kind=kind)

    assert keys(first, second) == [(1,)]
    assert keys(first, second, now=10) == [(1, 2)]


def test_rows_of_one_moment_go_in_the_order_of_their_keys() -> None:
    assert keys(row(3, patient=3), row(1, patient=1), row(2, patient=2)) == [(1,), (2,), (3,)]


def test_messages_come_in_the_order_of_their_time() -> None:
    assert keys(row(1, 30, patient=2), row(2, 10), now=60) == [(2,), (1,)]


rows = st.builds(
    row,
    st.integers(1, 10_000),
    st.integers(-90, 90),
    patient=st.integers(1, 3),
    kind=st.sampled_from([K.REMOVAL_DAY, K.EXERCISE_OK]),
)


@settings(deadline=None)
@given(st.lists(rows, max_size=20, unique_by=lambda one: one.key))
def test_every_due_row_is_said_exactly_once(some: list[DueRow]) -> None:
    said = [key for group in keys(*some) for key in group]

    assert len(said) == len(set(said))
    assert {one.key for one in some if one.due_at <= NINE} <= set(said)


@settings(deadline=None)
@given(st.lists(rows, max_size=20, unique_by=lambda one: one.key))
def test_what_is_said_together_belongs_together(some: list[DueRow]) -> None:
    for one in said_together(some, NINE):
        for joined in one.joined:
            assert (joined.patient, joined.kind) == (one.lead.patient, one.lead.kind)
            assert timedelta(0) <= joined.due_at - one.lead.due_at < timedelta(hours=1)
