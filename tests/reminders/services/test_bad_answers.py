"""A real mail server and a real gateway on bad days, and what becomes of each message: once, or a person knows."""

import threading
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from http.server import BaseHTTPRequestHandler
from uuid import UUID

import pytest

from clinic.models import Clinic, Patient
from reminders.models import CallItem, Message, RefusedAddress
from reminders.services.running import run_due
from reminders.transports import Transport
from reminders.transports.gateway import Gateway, GatewayTransport
from reminders.transports.smtp import MailServer, SmtpTransport
from taping.models import Application
from tests.factories import ApplicationFactory, MessageFactory
from tests.reminders.transports.conftest import Desk, Mailbox, desk, gateway_port, mail_server, mailbox

__all__ = ["desk", "gateway_port", "mail_server", "mailbox"]

pytestmark = pytest.mark.django_db

MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)
SENDER = "clinic@example.org"


@pytest.fixture
def run(clinic: Clinic, mail_server: Callable[..., int], gateway_port: int, desk: Desk) -> Callable[[datetime], None]:
    """One pass of the engine at a moment; a gateway that is to be silent is given up after half a second."""
    Clinic.objects.update(planned_version=clinic.plan_version)
    mail_port = mail_server()

    def act(at: datetime) -> None:
        patience = 0.5 if desk.act is not None else 10
        ways: dict[str, Transport] = {
            "sms": GatewayTransport(Gateway("http", "127.0.0.1", gateway_port, "/", "s3cret"), timeout=patience),
            "email": SmtpTransport(MailServer("127.0.0.1", mail_port, "plain"), SENDER, timeout=10),
        }
        run_due(lambda: at, transports=ways)

    return act


@pytest.fixture
def silent(desk: Desk) -> Iterator[None]:
    """A gateway that takes everything in and never answers."""
    hold = threading.Event()
    desk.act = lambda handler: hold.wait(5)
    yield
    hold.set()


def told(kind: str = "aftercare") -> Message:
    return Message.objects.get(kind=kind)


def due(**values: object) -> None:
    """A removal-day text due now, of a tape that is planned already."""
    MessageFactory(application__patient__email="", **values)
    Application.objects.update(planned_version=1)
    Patient.objects.update(planned_version=1)


def keys(desk: Desk) -> list[UUID]:
    return [UUID(headers["Idempotency-Key"]) for headers, _ in desk.requests]


def calls() -> list[str]:
    return list(CallItem.objects.filter(closed_at=None).order_by("pk").values_list("reason", flat=True))


class TestGateway:
    @pytest.mark.usefixtures("silent")
    def test_one_that_hangs_gets_a_safety_message_once_more_and_then_a_person(
        self, run: Callable[[datetime], None], now: datetime, desk: Desk
    ) -> None:
        ApplicationFactory(patient__email="")
        for minutes in range(8):
            run(now + minutes * MINUTE)
        row = told()
        assert (row.state, keys(desk), calls()) == ("uncertain", [row.key, row.key], ["uncertain"])

    @pytest.mark.usefixtures("silent")
    def test_one_that_hangs_holds_up_no_mail(
        self, run: Callable[[datetime], None], now: datetime, mailbox: Mailbox
    ) -> None:
        ApplicationFactory(patient__email="")
        for _ in range(5):
            ApplicationFactory(patient__prefers="email", patient__phone="")
        run(now)
        assert len(mailbox.received) == 5

    @pytest.mark.parametrize(("status", "minutes"), [(429, 9), (500, 1), (502, 1), (503, 1)])
    def test_one_that_is_busy_or_broken_is_asked_again_later_with_the_same_key(
        self, run: Callable[[datetime], None], now: datetime, desk: Desk, status: int, minutes: int
    ) -> None:
        ApplicationFactory(patient__email="")
        desk.answers = [(status, b"no")]
        run(now)
        row = told()
        assert (row.state, row.attempts, RefusedAddress.objects.count(), calls()) == ("planned", 1, 0, [])
        assert 0.8 * minutes * MINUTE <= row.wake_at - now <= 1.4 * minutes * MINUTE
        run(now + 15 * MINUTE)
        row.refresh_from_db()
        assert (row.state, row.attempts, keys(desk)) == ("sent", 2, [row.key, row.key])

    def test_how_long_it_asks_to_be_left_alone_is_kept(
        self, run: Callable[[datetime], None], now: datetime, desk: Desk
    ) -> None:
        def busy(handler: BaseHTTPRequestHandler) -> None:
            handler.send_response(429)
            handler.send_header("Retry-After", "7200")
            handler.send_header("Content-Length", "0")
            handler.end_headers()

        ApplicationFactory(patient__email="")
        desk.act = busy
        for minutes in range(0, 120, 10):
            run(now + minutes * MINUTE)
        desk.act = None
        assert len(desk.requests) == 1
        run(now + 120 * MINUTE)
        assert (told().state, len(desk.requests)) == ("sent", 2)

    def test_one_that_stays_broken_is_given_up_within_the_message_s_use_and_told(
        self, run: Callable[[datetime], None], now: datetime, desk: Desk
    ) -> None:
        desk.answers = [(500, b"no")] * 99
        due(expires_at=now + 3 * HOUR)
        at = now
        while (row := told("removal_day")).state == "planned":
            run(at)
            at += 5 * MINUTE
        assert row.settled_at is not None
        assert (row.state, row.settled_at < row.expires_at, len(desk.requests)) == ("failed", True, row.attempts)
        assert 5 <= row.attempts <= 10  # the delay doubles, by chance a little sooner or later
        assert f"undelivered:{row.subject}" in CallItem.objects.values_list("key", flat=True)
        assert set(keys(desk)[:3]) == {row.key}

    def test_one_tried_before_an_outage_and_too_late_after_it_is_told(
        self, run: Callable[[datetime], None], now: datetime, desk: Desk
    ) -> None:
        due(expires_at=now + HOUR)
        desk.answers = [(500, b"no")]
        run(now)
        run(now + 2 * HOUR)
        row = told("removal_day")
        assert (row.state, len(desk.requests)) == ("missed", 1)
        assert list(CallItem.objects.values_list("reason", "key")) == [("undelivered", f"undelivered:{row.subject}")]

    def test_garbage_is_asked_once_more_with_the_same_key(
        self, run: Callable[[datetime], None], now: datetime, desk: Desk
    ) -> None:
        ApplicationFactory(patient__email="")
        desk.answers = [(200, b"\xff\x00<html>")]
        for minutes in range(4):
            run(now + minutes * MINUTE)
        row = told()
        assert (row.state, row.repeats, keys(desk), calls()) == ("sent", 1, [row.key, row.key], [])


class TestMailServer:
    @pytest.mark.parametrize("command", ["MAIL", "RCPT", "DATA"])
    @pytest.mark.parametrize("reply", ["451 come again", "421 closing"])
    def test_one_that_says_later_gets_it_once_later(
        self, run: Callable[[datetime], None], now: datetime, mailbox: Mailbox, command: str, reply: str
    ) -> None:
        ApplicationFactory(patient__prefers="email")
        mailbox.replies[command] = [reply] * 2
        for minutes in range(6):
            run(now + minutes * MINUTE)
        assert (told().state, len(mailbox.received), RefusedAddress.objects.count()) == ("sent", 1, 0)
        assert calls() == []

    def test_one_that_knows_nobody_of_that_name_is_asked_once_and_the_address_flagged(
        self, run: Callable[[datetime], None], now: datetime, mailbox: Mailbox, desk: Desk
    ) -> None:
        ApplicationFactory(patient__prefers="email")
        mailbox.replies["RCPT"] = ["550 5.1.1 no such user"] * 9
        for minutes in range(6):
            run(now + minutes * MINUTE)
        row = told()
        assert (row.state, row.channel, keys(desk), mailbox.received) == ("sent", "sms", [row.key], [])
        assert list(RefusedAddress.objects.values_list("channel", "address")) == [("email", row.patient.email)]


class TestHalfTheRecipients:
    """Each message is one recipient's, so half of a batch is half of the rows."""

    def test_a_mail_server_that_takes_every_other_one(
        self, run: Callable[[datetime], None], now: datetime, mailbox: Mailbox
    ) -> None:
        for number in range(10):
            ApplicationFactory(
                patient__prefers="email", patient__phone="", patient__email=f"p{number}@example.org",
                applied_at=now + number * timedelta(seconds=1),
            )  # fmt: skip
        mailbox.replies["RCPT"] = ["250 OK", "550 no such user"] * 5
        for minutes in range(1, 6):
            run(now + minutes * MINUTE)
        rows = Message.objects.filter(kind="aftercare").order_by("planned_for")
        assert [row.state for row in rows] == ["sent", "failed"] * 5
        assert [tos for _, tos, _ in mailbox.received] == [[f"p{number}@example.org"] for number in range(0, 10, 2)]
        assert {row.subject for row in rows if row.state == "failed"} == {
            item.key.removeprefix("undelivered:") for item in CallItem.objects.all()
        }
        for number, mail in zip(range(0, 10, 2), mailbox.mails, strict=True):
            assert [address.addr_spec for address in mail["To"].addresses] == [f"p{number}@example.org"]

    def test_a_gateway_that_takes_every_other_one(
        self, run: Callable[[datetime], None], now: datetime, desk: Desk
    ) -> None:
        for number in range(10):
            ApplicationFactory(patient__email="", applied_at=now + number * timedelta(seconds=1))
        desk.answers = [(200, b'{"id": "m"}'), (422, b"{}")] * 5
        for minutes in range(1, 6):
            run(now + minutes * MINUTE)
        rows = Message.objects.filter(kind="aftercare").order_by("planned_for")
        assert [row.state for row in rows] == ["sent", "failed"] * 5
        assert keys(desk) == [row.key for row in rows]
        assert calls() == ["undelivered"] * 5
