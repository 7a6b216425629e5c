"""A slow channel and a quick one: neither keeps the other waiting."""

from datetime import datetime, timedelta

import pytest

from clinic.models import Clinic, Patient
from reminders.models import Message
from reminders.services import pace
from reminders.services.pace import LONGEST_REST, SLOW_SECONDS, Pace
from taping.models import Application
from tests.factories import MessageFactory
from tests.reminders.services.conftest import Ways, silence

pytestmark = pytest.mark.django_db


class Elapsed:
    """Stands for the seconds that have passed."""

    def __init__(self) -> None:
        self.seconds = 1000.0

    def __call__(self) -> float:
        return self.seconds

    def pass_by(self, seconds: float) -> None:
        self.seconds += seconds


@pytest.fixture
def elapsed(monkeypatch: pytest.MonkeyPatch) -> Elapsed:
    made = Elapsed()
    monkeypatch.setattr(pace, "monotonic", made)
    return made


@pytest.mark.parametrize(
    ("seconds", "rest"), [(0.1, 0.0), (SLOW_SECONDS, 0.0), (3.0, 3.0), (10.0, 10.0), (500.0, LONGEST_REST)]
)
def test_a_channel_rests_as_long_as_a_slow_attempt_took(elapsed: Elapsed, seconds: float, rest: float) -> None:
    one = Pace()
    begun = one.begun()
    elapsed.pass_by(seconds)
    one.took("sms", begun)
    assert one.rest("sms") == pytest.approx(rest)
    assert one.rest("email") == 0.0
    elapsed.pass_by(rest)
    assert one.rest("sms") == 0.0


def due(number: int, now: datetime, **values: object) -> list[Message]:
    """number messages on each channel in turn, all due now."""
    made: list[Message] = [
        MessageFactory(application__patient__prefers=channel, **values)
        for _ in range(number)
        for channel in ("sms", "email")
    ]
    Application.objects.update(planned_version=1)
    Patient.objects.update(planned_version=1)
    return made


def test_mails_do_not_wait_for_a_gateway_that_times_out(
    clinic: Clinic, ways: Ways, now: datetime, elapsed: Elapsed
) -> None:
    due(6, now)
    ways.sms.answers = [silence(handed_over=False)] * 6
    ways.sms.on_send = lambda outgoing: elapsed.pass_by(10)
    report = ways.run(now)
    assert (len(ways.sms.tried), len(ways.email.sent), report.tally.put_off) == (1, 6, 6)
    waiting = Message.objects.filter(state="planned", attempts=0)
    assert set(waiting.values_list("wake_at", "claims", "token")) == {(now + timedelta(seconds=10), 0, None)}
    assert waiting.count() == 5


def test_what_rested_goes_when_the_rest_is_over(clinic: Clinic, ways: Ways, now: datetime, elapsed: Elapsed) -> None:
    rows = due(3, now)
    ways.sms.on_send = lambda outgoing: elapsed.pass_by(3)
    for seconds in range(0, 20, 3):
        ways.run(now + timedelta(seconds=seconds))
        elapsed.pass_by(3)
    assert Message.objects.filter(state="sent").count() == len(rows)
    assert len(ways.sms.sent) == len(set(ways.sms.keys)) == 3


def test_one_that_would_be_useless_after_the_rest_does_not_rest(
    clinic: Clinic, ways: Ways, now: datetime, elapsed: Elapsed
) -> None:
    due(2, now, expires_at=now + timedelta(seconds=5))
    ways.sms.on_send = lambda outgoing: elapsed.pass_by(8)
    ways.run(now)
    assert (len(ways.sms.sent), len(ways.email.sent)) == (2, 2)


def test_a_quick_channel_never_rests(clinic: Clinic, ways: Ways, now: datetime, elapsed: Elapsed) -> None:
    due(5, now)
    ways.sms.on_send = lambda outgoing: elapsed.pass_by(SLOW_SECONDS)
    ways.run(now)
    assert (len(ways.sms.sent), len(ways.email.sent)) == (5, 5)
