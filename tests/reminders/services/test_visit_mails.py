"""Mails about visits as they arrive at a real mail server: the calendar part (RFC 5545, 5546, 6047) and the stop link.

The calendar is read back with vobject, which shares no code with the library that wrote it.
"""

from collections.abc import Callable
from datetime import datetime, timedelta
from email.message import EmailMessage
from typing import Any

import pytest
import vobject
from django.conf import settings as own_settings

from clinic.models import Clinic, Patient, Visit
from clinic.services.visits import visit_book, visit_move, visit_set_state
from reminders.models import Message
from reminders.services.running import run_due
from reminders.services.stop_links import stop_address
from reminders.transports.smtp import MailServer, SmtpTransport
from tests.factories import HelperFactory, PatientFactory, UserFactory
from tests.reminders.services.conftest import Recorder
from tests.reminders.services.test_answers import STAFF
from tests.reminders.transports.conftest import Mailbox, mail_server, mailbox

__all__ = ["mail_server", "mailbox"]

pytestmark = pytest.mark.django_db


@pytest.fixture
def patient(clinic: Clinic) -> Patient:
    made: Patient = PatientFactory(
        full_name="Ada Quillfeather", call_me="Ada", email="ada@example.org", prefers="email"
    )
    return made


@pytest.fixture
def send(mail_server: Callable[..., int]) -> Callable[[datetime], None]:
    """send(at): one pass of the engine, mails by SMTP to the server of this test."""
    port = mail_server()

    def one_pass(at: datetime) -> None:
        by_mail = SmtpTransport(MailServer("127.0.0.1", port, "plain"), own_settings.SENDER_ADDRESS, timeout=5)
        run_due(lambda: at, transports={"sms": Recorder(), "email": by_mail})

    return one_pass


def book(patient: Patient, now: datetime, days: int = 5, hour: int = 0) -> Visit:
    starts_at = now + timedelta(days=days, hours=hour)
    draft = Visit(purpose="taping", ends_at=starts_at + timedelta(minutes=30))
    return visit_book(actor=STAFF, now=now, patient=patient, therapist=UserFactory(), starts_at=starts_at, visit=draft)


def parts(mail: EmailMessage) -> list[EmailMessage]:
    return [part for part in mail.walk() if part.get_content_type() == "text/calendar"]


def read(part: EmailMessage) -> Any:
    """The calendar of a mail's part; its one event is under vevent."""
    return vobject.readOne(part.get_payload(decode=True).decode("utf-8"))  # type: ignore[union-attr]


def test_booked_moved_and_cancelled_are_one_entry_with_growing_numbers(
    patient: Patient, now: datetime, send: Callable[[datetime], None], mailbox: Mailbox
) -> None:
    visit = book(patient, now)
    send(now)
    visit = visit_move(
        actor=STAFF, now=now + timedelta(hours=1), visit=visit, starts_at=visit.starts_at + timedelta(days=1)
    )
    send(now + timedelta(hours=1))
    visit_set_state(actor=STAFF, now=now + timedelta(hours=2), visit=visit, state="cancelled")
    send(now + timedelta(hours=2))
    book(patient, now + timedelta(hours=3), days=6)
    send(now + timedelta(hours=3))

    entries = [(part, read(part)) for mail in mailbox.mails for part in parts(mail)]
    assert [part.get_param("method") for part, _ in entries] == ["REQUEST", "REQUEST", "CANCEL", "REQUEST"]
    assert [calendar.method.value for _, calendar in entries] == ["REQUEST", "REQUEST", "CANCEL", "REQUEST"]
    assert [calendar.vevent.sequence.value for _, calendar in entries] == ["0", "1", "2", "0"]
    uids = [calendar.vevent.uid.value for _, calendar in entries]
    assert (len(set(uids[:3])), uids[3] in uids[:3]) == (1, False)
    stamps = [calendar.vevent.dtstamp.value for _, calendar in entries]
    assert stamps == sorted(set(stamps))
    assert entries[2][1].vevent.status.value == "CANCELLED"
    assert [calendar.vevent.dtstart.value for _, calendar in entries][:2] == [
        now + timedelta(days=5), now + timedelta(days=6),
    ]  # fmt: skip
    assert "Quill" not in "".join(uids)


def test_the_part_is_a_calendar_in_utf_8_from_the_clinic_to_the_reader(
    patient: Patient, now: datetime, send: Callable[[datetime], None], mailbox: Mailbox
) -> None:
    book(patient, now)
    send(now)
    (part,) = parts(mailbox.mails[0])
    assert (part.get_content_charset(), part.get_filename()) == ("utf-8", "visit.ics")
    event = read(part).vevent
    assert (event.organizer.value, event.attendee.value) == ("mailto:clinic@example.org", "mailto:ada@example.org")
    content = part.get_payload(decode=True)
    assert isinstance(content, bytes)
    lines = content.split(b"\r\n")
    assert (b"\n" in b"".join(lines), max(len(line) for line in lines) <= 75) == (False, True)
    assert [line for line in lines if line.startswith((b"DTSTART", b"DTEND"))] == [
        b"DTSTART:20270315T150000Z", b"DTEND:20270315T153000Z",
    ]  # fmt: skip


def test_the_helper_who_gets_the_mails_is_the_one_invited(
    patient: Patient, now: datetime, send: Callable[[datetime], None], mailbox: Mailbox
) -> None:
    HelperFactory(patient=patient, gets_messages=True, prefers="email", email="hal@example.org", call_me="Hal")
    book(patient, now)
    send(now)
    assert read(parts(mailbox.mails[0])[0]).vevent.attendee.value == "mailto:hal@example.org"


def test_what_staff_type_into_name_and_address_opens_no_property(
    patient: Patient, now: datetime, send: Callable[[datetime], None], mailbox: Mailbox
) -> None:
    evil = "Rose Court\r\nATTENDEE:mailto:evil@example.net\r\nEND:VEVENT"
    Clinic.objects.update(name=evil, address=f"{evil}; rear door, 2")
    Patient.objects.filter(pk=patient.pk).update(call_me='O"Neil; Siân\r\nBCC:evil@example.net')
    book(patient, now)
    send(now)
    mail = mailbox.mails[0]
    calendar = read(parts(mail)[0])
    assert len(calendar.vevent_list) == 1
    assert [one.value for one in calendar.vevent.attendee_list] == ["mailto:ada@example.org"]
    assert calendar.vevent.location.value.endswith("; rear door, 2")
    assert (mail["Bcc"], [tos for _, tos, _ in mailbox.received]) == (None, [["ada@example.org"]])


def test_visits_said_together_are_a_request_each(
    patient: Patient, now: datetime, send: Callable[[datetime], None], mailbox: Mailbox
) -> None:
    """RFC 5546, 3.2.2: all components of one request have the same UID."""
    visits = [book(patient, now), book(patient, now, hour=2)]
    send(now)
    (mail,) = mailbox.mails
    assert [len(read(part).vevent_list) for part in parts(mail)] == [1, 1]
    assert {read(part).vevent.uid.value for part in parts(mail)} == {f"{visit.uid}@wearwindow" for visit in visits}


def test_a_mail_about_a_visit_can_be_stopped_in_one_click(
    patient: Patient, now: datetime, send: Callable[[datetime], None], mailbox: Mailbox
) -> None:
    visit = book(patient, now)
    send(now)
    mail = mailbox.mails[0]
    assert mail["List-Unsubscribe"] == f"<{stop_address(visit)}>"
    assert mail["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    body = mail.get_body(("plain",))
    assert body is not None
    assert stop_address(visit) in body.get_content()
    assert stop_address(visit) not in Message.objects.get(kind="visit_booked").text


def test_a_text_about_a_visit_carries_no_calendar(patient: Patient, now: datetime, clinic: Clinic) -> None:
    Patient.objects.update(prefers="sms")
    book(patient, now)
    sms = Recorder()
    run_due(lambda: now, transports={"sms": sms, "email": Recorder()})
    assert [(one.calendar, one.unsubscribe) for one in sms.sent] == [((), "")]
