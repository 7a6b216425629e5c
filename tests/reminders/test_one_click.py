"""One-click unsubscribe as RFC 8058 describes it: from the header of a mail that arrived to a real HTTP post."""

from collections.abc import Callable
from datetime import timedelta
from email.message import EmailMessage
from http.client import HTTPConnection
from urllib.parse import urlsplit

import pytest
from django.conf import settings as own_settings
from django.utils import timezone
from pytest_django import Settings
from pytest_django.live_server_helper import LiveServer

from clinic.models import Clinic, Patient
from reminders.models import CallItem, Message
from reminders.services.call_tick import call_list_tick
from reminders.services.running import run_due
from reminders.transports.smtp import MailServer, SmtpTransport
from tests.factories import ApplicationFactory, PatientFactory
from tests.reminders.services.conftest import Recorder
from tests.reminders.services.test_visit_mails import book
from tests.reminders.transports.conftest import Mailbox, mail_server, mailbox

__all__ = ["mail_server", "mailbox"]

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def patient(clinic: Clinic, live_server: LiveServer, settings: Settings) -> Patient:
    settings.PUBLIC_ADDRESS = live_server.url
    Clinic.objects.update(quiet_from="03:00", quiet_until="03:01")
    made: Patient = PatientFactory(email="ada@example.org", prefers="email", consent_at=timezone.now())
    return made


def deliver(mail_server: Callable[..., int]) -> None:
    server = MailServer("127.0.0.1", mail_server(), "plain")
    by_mail = SmtpTransport(server, own_settings.SENDER_ADDRESS, timeout=5)
    run_due(timezone.now, transports={"sms": Recorder(), "email": by_mail})


def one_click(mail: EmailMessage) -> int:
    """RFC 8058, 3.2 and 8.2: a POST of the List-Unsubscribe-Post header's value, no cookie, no redirect followed."""
    address = urlsplit(mail["List-Unsubscribe"].strip("<>"))
    connection = HTTPConnection(address.hostname or "", address.port, timeout=10)
    connection.request(
        "POST",
        address.path,
        mail["List-Unsubscribe-Post"].encode(),
        {"Content-Type": "application/x-www-form-urlencoded"},
    )
    status = connection.getresponse().status
    connection.close()
    return status


def robot(mail: EmailMessage) -> int:
    """A mail gateway that opens what it finds."""
    address = urlsplit(mail["List-Unsubscribe"].strip("<>"))
    connection = HTTPConnection(address.hostname or "", address.port, timeout=10)
    connection.request("GET", address.path)
    status = connection.getresponse().status
    connection.close()
    return status


def test_a_mail_about_a_visit_is_stopped_by_one_post_and_by_no_get(
    patient: Patient, mail_server: Callable[..., int], mailbox: Mailbox
) -> None:
    book(patient, timezone.now())
    deliver(mail_server)
    (mail,) = mailbox.mails
    assert robot(mail) == 200
    assert Patient.objects.get().consents
    assert [one_click(mail), one_click(mail)] == [200, 200]
    assert not Patient.objects.get().consents
    assert Message.objects.filter(kind="stop_confirmed").count() == 1


def test_who_stops_with_tape_on_is_still_called(
    patient: Patient, mail_server: Callable[..., int], mailbox: Mailbox
) -> None:
    tape = ApplicationFactory(patient=patient, applied_at=timezone.now() - timedelta(minutes=1))
    deliver(mail_server)
    (mail,) = mailbox.mails
    assert one_click(mail) == 200
    call_list_tick(timezone.now())
    assert [(item.reason, item.application) for item in CallItem.objects.all()] == [("unreachable", tape)]


def test_the_mail_about_a_visit_stops_what_a_tape_would_say_and_the_patient_is_called(
    patient: Patient, mail_server: Callable[..., int], mailbox: Mailbox
) -> None:
    book(patient, timezone.now())
    deliver(mail_server)
    tape = ApplicationFactory(patient=patient, applied_at=timezone.now())
    one_click(mailbox.mails[0])
    deliver(mail_server)
    assert set(Message.objects.filter(application=tape).values_list("state", flat=True)) <= {"dropped"}
    assert [(item.reason, item.application) for item in CallItem.objects.all()] == [("unreachable", tape)]
