"""The first message waits for the word who takes the tape off, and not for ever."""

from datetime import timedelta

import pytest

from reminders.rules.plan import MessageKind
from tests.reminders.rules.test_plan import FRIDAY, one, planned, utc

LATEST = utc("2027-03-26T15:10")


def test_it_waits_until_the_moment_given_and_says_so() -> None:
    message = one(MessageKind.AFTERCARE, remover_by=LATEST)
    assert message.due_at == LATEST
    assert message.reasons == (
        "the tape went on at 11:00",
        "waits until it is settled who takes the tape off, 11:10 at the latest",
    )


def test_a_tape_entered_later_waits_no_longer_than_its_own_moment() -> None:
    message = one(MessageKind.AFTERCARE, remover_by=LATEST, saved_at=LATEST + timedelta(hours=1))
    assert message.due_at == LATEST + timedelta(hours=1)


def test_in_quiet_hours_it_goes_when_they_end() -> None:
    evening = utc("2027-03-27T00:55")  # 20:55 in New York, quiet from 21:00
    late = one(MessageKind.AFTERCARE, applied_at=evening, saved_at=evening, remover_by=evening + timedelta(minutes=10))
    assert late.due_at == utc("2027-03-27T12:00")


def test_no_other_message_waits() -> None:
    others = [message for message in planned(remover_by=LATEST) if message.kind is not MessageKind.AFTERCARE]
    assert others == [message for message in planned() if message.kind is not MessageKind.AFTERCARE]


def test_a_naive_moment_is_refused() -> None:
    with pytest.raises(ValueError, match="remover_by"):
        planned(remover_by=FRIDAY.saved_at.replace(tzinfo=None))
