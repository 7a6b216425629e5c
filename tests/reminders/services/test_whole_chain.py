"""The whole chain with nothing in between made up: rows, planning, a real mail server and a real SMS gateway.

The last part draws bad days at random: killed workers before and after handing over, refusals, silences. Whatever
comes, no message is lost, and none arrives twice but a safety message of which nothing was heard.
"""

import json
import random
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from uuid import UUID

import pytest
from pytest_django import Settings

from clinic.models import Clinic, Patient
from clinic.services.events import Actor
from clinic.services.visits import visit_set_state
from reminders.models import CallItem, Message, RefusedAddress
from reminders.services import marks
from reminders.services.running import run_due
from reminders.services.sending_again import message_send_again
from taping.models import Application
from tests.factories import ApplicationFactory, MessageFactory, PatientFactory, VisitFactory
from tests.reminders.services.conftest import Recorder, Ways, refused, silence
from tests.reminders.transports.conftest import Desk, Mailbox, desk, gateway_port, mail_server, mailbox

__all__ = ["desk", "gateway_port", "mail_server", "mailbox"]

pytestmark = pytest.mark.django_db

MINUTE = timedelta(minutes=1)
STAFF = Actor(word="test")


@pytest.fixture
def set_up(ways: Ways, settings: Settings, mail_server: Callable[..., int], gateway_port: int) -> None:
    settings.EMAIL_URL = f"smtp://127.0.0.1:{mail_server()}"
    settings.SMS_GATEWAY_URL = f"http://127.0.0.1:{gateway_port}/messages"
    settings.SMS_GATEWAY_TOKEN = "s3cret"
    settings.PUBLIC_ADDRESS = "https://tape.example.org"


def run(at: datetime) -> None:
    run_due(lambda: at)


@pytest.mark.usefixtures("set_up")
class TestRealServers:
    def test_a_text_reaches_the_gateway_with_the_row_s_key(self, now: datetime, desk: Desk) -> None:
        application = ApplicationFactory()
        run(now)
        headers, body = desk.requests[0]
        row = Message.objects.get(kind="aftercare")
        assert json.loads(body)["to"] == application.patient.phone
        assert (headers["Idempotency-Key"], row.gateway_id, row.state) == (str(row.key), "m-1", "sent")

    def test_a_mail_reaches_the_server_with_its_headers(self, now: datetime, mailbox: Mailbox) -> None:
        ApplicationFactory(patient__prefers="email")
        run(now)
        mail, row = mailbox.mails[0], Message.objects.get(kind="aftercare")
        assert mail["Message-ID"] == f"<{row.key.hex}@example.org>"
        assert mail["List-Unsubscribe"].strip().startswith("<https://tape.example.org/u/")
        assert mail["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
        assert row.gateway_id == "queued as 77"

    def test_a_batch_of_mails_uses_one_connection(self, now: datetime, mailbox: Mailbox) -> None:
        for _ in range(5):
            ApplicationFactory(patient__prefers="email")
        run(now)
        assert (len(mailbox.received), mailbox.connections) == (5, 1)

    def test_a_visit_s_entry_can_be_read_by_a_calendar(self, now: datetime, mailbox: Mailbox) -> None:
        """RFC 5545, read back by the icalendar library."""
        from icalendar import Calendar

        visit = VisitFactory(
            patient__prefers="email", starts_at=now + timedelta(days=2), ends_at=now + timedelta(days=2, minutes=30)
        )
        run(now)
        visit_set_state(actor=STAFF, now=now + MINUTE, visit=visit, state="cancelled")
        run(now + MINUTE)
        parts = [next(p for p in mail.walk() if p.get_content_type() == "text/calendar") for mail in mailbox.mails]
        booked, cancelled = (Calendar.from_ical(part.get_content()) for part in parts)
        first, second = booked.walk("VEVENT")[0], cancelled.walk("VEVENT")[0]
        assert (booked["METHOD"], cancelled["METHOD"], second["STATUS"]) == ("REQUEST", "CANCEL", "CANCELLED")
        assert first["UID"] == second["UID"]
        assert (first["SEQUENCE"], second["SEQUENCE"]) == (0, 1)
        assert first.decoded("DTSTART") == visit.starts_at

    def test_greylisted_it_is_delivered_once_and_the_address_is_not_flagged(
        self, now: datetime, mailbox: Mailbox
    ) -> None:
        """A server that says 451 first means "come again", not "nobody here"."""
        ApplicationFactory(patient__prefers="email")
        mailbox.replies["RCPT"] = ["451 greylisted"]
        for minutes in range(4):
            run(now + minutes * MINUTE)
        assert (len(mailbox.received), RefusedAddress.objects.count()) == (1, 0)

    def test_one_refused_recipient_does_not_hide_behind_another(
        self, now: datetime, mailbox: Mailbox, desk: Desk
    ) -> None:
        for _ in range(2):
            ApplicationFactory(patient__prefers="email", patient__phone="")
        mailbox.replies["RCPT"] = ["550 no such user"]
        run(now)
        states = list(Message.objects.filter(kind="aftercare").order_by("pk").values_list("state", flat=True))
        assert (states, [len(tos) for _, tos, _ in mailbox.received]) == (["failed", "sent"], [1])
        assert CallItem.objects.get().reason == "undelivered"

    def test_the_middle_one_of_three_has_a_bad_address(self, now: datetime, mailbox: Mailbox) -> None:
        for address in ("a@example.org", "b@example.org\r\nBcc: z@example.net", "c@example.org"):
            ApplicationFactory(patient__prefers="email", patient__email=address, patient__phone="")
        run(now)
        states = list(Message.objects.filter(kind="aftercare").order_by("pk").values_list("state", flat=True))
        assert (states, len(mailbox.received)) == (["sent", "failed", "sent"], 2)
        assert all(mail["Bcc"] is None for mail in mailbox.mails)

    def test_garbage_from_the_gateway_is_not_taken_for_a_yes(self, now: datetime, desk: Desk) -> None:
        ApplicationFactory()
        desk.answers = [(200, b"<html>log in first</html>")]
        run(now)
        row = Message.objects.get(kind="aftercare")
        assert (row.state, row.why) == ("uncertain", "the SMS gateway answered without an id")

    def test_a_text_fails_for_good_while_a_mail_goes(self, now: datetime, desk: Desk, mailbox: Mailbox) -> None:
        ApplicationFactory(patient__email="")
        ApplicationFactory(patient__prefers="email")
        desk.answers = [(422, b"{}")]
        run(now)
        states = dict(Message.objects.filter(kind="aftercare").values_list("channel", "state"))
        assert states == {"sms": "failed", "email": "sent"}

    def test_nothing_waits_for_a_broker(self, now: datetime, desk: Desk, settings: Settings) -> None:
        """Redis that is not there, or was emptied, delays nothing: due work is read from the rows."""
        settings.REDIS_URL = "redis://127.0.0.1:1/0"
        for _ in range(10):
            ApplicationFactory()
        run(now)
        assert len(desk.requests) == 10


class TestSentAgain:
    def test_a_person_sends_again_what_failed(self, ways: Ways, now: datetime) -> None:
        row = ready(MessageFactory(application__patient__email=""))
        ways.sms.answers = [refused(550)]
        ways.run(now)
        row.refresh_from_db()
        assert row.state == "failed"
        message_send_again(actor=STAFF, now=now + MINUTE, message=row)
        ways.run(now + MINUTE)
        row.refresh_from_db()
        assert (row.state, len(set(ways.sms.keys)), RefusedAddress.objects.count()) == ("sent", 1, 0)
        assert not CallItem.objects.filter(closed_at=None).exists()


def ready(row: Message) -> Message:
    """row as the engine finds it when nothing is left to plan."""
    Application.objects.update(planned_version=1)
    Patient.objects.update(planned_version=1)
    return row


class Killed(BaseException):
    """What SIGKILL is to the code: nothing after this line runs."""


class BadDay:
    """Draws what happens at each step; counts what really arrived, by key."""

    def __init__(self, seed: int) -> None:
        self.chance = random.Random(seed)
        self.arrived: Counter[UUID] = Counter()
        self.sms = Recorder()
        self.sms.on_send = self._meet

    def _meet(self, outgoing: object) -> None:
        key = self.sms.tried[-1].key
        fate = self.chance.choice(["fine"] * 4 + ["before", "after", "451", "550", "lost", "heard", "broken"])
        if fate in ("fine", "after", "heard"):
            self.arrived[key] += 1
        faults: dict[str, BaseException] = {
            "before": Killed(),
            "after": Killed(),
            "451": refused(451),
            "550": refused(550),
            "lost": silence(handed_over=False),
            "heard": silence(handed_over=True),
            "broken": silence(handed_over=True),
        }
        if fate in faults:
            raise faults[fate]

    def kill_while_marking(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """Now and then the worker dies before, or after, what it writes down is in the database."""
        real = marks.mark

        def mark(*words: object, **values: object) -> bool:
            fate = self.chance.random()
            if fate < 0.05:
                raise Killed
            done = real(*words, **values)  # type: ignore[arg-type]
            if fate > 0.95:
                raise Killed
            return done

        monkeypatch.setattr(marks, "mark", mark)


@pytest.mark.parametrize("seed", range(6))
def test_on_a_bad_day_nothing_is_lost_and_nothing_comes_twice(
    clinic: Clinic, ways: Ways, now: datetime, monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    day = BadDay(seed)
    day.kill_while_marking(monkeypatch)
    for number in range(8):
        ended = {} if number % 2 else {"ended_at": now, "ended_how": "off"}
        kind, safety = ("removal_day", True) if number % 2 else ("skin_follow_up", False)
        patient = PatientFactory(email="")
        MessageFactory(application=ApplicationFactory(patient=patient, **ended), kind=kind, safety=safety)
    ready(Message.objects.all()[0])
    at = now
    for _ in range(40):
        with suppress(Killed):
            run_due(lambda: at, transports={"sms": day.sms, "email": day.sms})  # noqa: B023
        at += timedelta(seconds=61)
    at = now + timedelta(hours=5)
    monkeypatch.undo()
    run_due(lambda: at, transports={})
    for row in Message.objects.all():
        arrived = day.arrived[row.key]
        assert row.state in ("sent", "failed", "uncertain", "missed"), (row.kind, row.state)
        assert arrived <= (2 if row.safety else 1), (row.kind, row.state, row.why)
        assert arrived or row.state != "sent", (row.kind, row.why)
        if row.state == "uncertain":
            key = f"uncertain:{row.subject}"
            assert CallItem.objects.filter(key=key).exists()
        if arrived == 2:
            assert row.repeats == 1


@pytest.mark.parametrize("hour", [2, 9, 12, 20, 23])
def test_no_timed_message_goes_in_quiet_hours_however_late_it_is(ways: Ways, hour: int) -> None:
    """Quiet hours 21:00 to 08:00 in New York: 02:00 to 13:00 UTC on 11 March."""
    day = datetime(2027, 3, 11, hour, 30, tzinfo=UTC)
    ready(MessageFactory(planned_for=day - timedelta(hours=3), expires_at=day + timedelta(hours=30)))
    ways.run(day)
    assert bool(ways.sms.sent) is (hour >= 13)
