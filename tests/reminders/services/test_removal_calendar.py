"""The removal day as a calendar entry: written by one library, read back by two others that share no code with it.

vobject 0.9.9 for the whole file; python-dateutil for its dates.
"""

from collections.abc import Callable
from datetime import date, datetime, timedelta
from email.message import EmailMessage
from typing import Any

import pytest
import vobject
from dateutil.parser import isoparse
from django.conf import settings as own_settings

from clinic.models import Clinic, Patient, Visit
from clinic.services.calendar import CalendarFile
from reminders.models import Message
from reminders.rules.kinds import MessageKind
from reminders.services.links import link_token, links_keep
from reminders.services.removal_calendar import entry_wanted, removal_calendar, tape_calendar
from reminders.services.running import run_due
from reminders.transports.smtp import MailServer, SmtpTransport
from taping.models import Application
from tests.factories import ApplicationFactory, MessageFactory, PatientFactory, VisitFactory
from tests.reminders.services.conftest import Recorder
from tests.reminders.transports.conftest import Mailbox, mail_server, mailbox

__all__ = ["mail_server", "mailbox"]

pytestmark = pytest.mark.django_db

SENDER = "desk@example.org"


@pytest.fixture
def tape(clinic: Clinic, now: datetime) -> Application:
    """Tape on the left knee since the tests' moment; it comes off on Monday 15 March 2027."""
    patient = PatientFactory(
        full_name="Ada Quillfeather", call_me="Ada", email="ada@example.org", prefers="email", phone=""
    )
    made: Application = ApplicationFactory(patient=patient)
    return made


def written(tape: Application, clinic: Clinic, now: datetime, sender: str = SENDER) -> CalendarFile:
    return removal_calendar(tape, clinic=clinic, sender=sender, now=now)


def read(content: bytes) -> Any:
    calendar = vobject.readOne(content.decode())
    assert len(calendar.vevent_list) == 1
    return calendar.vevent


def lines(content: bytes) -> list[str]:
    return content.decode().replace("\r\n ", "").split("\r\n")


def test_it_is_a_whole_day_whose_end_is_exclusive(tape: Application, clinic: Clinic, now: datetime) -> None:
    # RFC 5545, 3.6.1: the day after the last one, as dates, without a zone
    made = written(tape, clinic, now)
    days = [line for line in lines(made.content) if line.startswith(("DTSTART", "DTEND"))]
    assert days == ["DTSTART;VALUE=DATE:20270315", "DTEND;VALUE=DATE:20270316"]
    assert "TZID" not in made.content.decode()
    event = read(made.content)
    assert (event.dtstart.value, event.dtend.value) == (date(2027, 3, 15), date(2027, 3, 16))
    first, end = (isoparse(line.rpartition(":")[2]).date() for line in days)
    assert (first, end - first) == (tape.removal_day, timedelta(days=1))


def test_it_leaves_the_day_free_and_says_what_happens(tape: Application, clinic: Clinic, now: datetime) -> None:
    event = read(written(tape, clinic, now).content)
    assert (event.transp.value, event.status.value) == ("TRANSPARENT", "CONFIRMED")
    assert event.summary.value == "Tape comes off: Harbour Lane Clinic"
    assert "Slowly, never rip" in event.description.value
    assert "(212) 555-0100" in event.description.value
    assert event.organizer.value == f"mailto:{SENDER}"


def test_moved_and_off_are_the_same_entry_with_growing_numbers(
    tape: Application, clinic: Clinic, now: datetime
) -> None:
    first = read(written(tape, clinic, now).content)
    tape.removal_day, tape.plan_version = date(2027, 3, 14), tape.plan_version + 1
    moved = read(written(tape, clinic, now + timedelta(hours=1)).content)
    tape.ended_at, tape.plan_version = now + timedelta(hours=2), tape.plan_version + 1
    made = written(tape, clinic, now + timedelta(hours=2))
    gone = read(made.content)
    assert {one.uid.value for one in (first, moved, gone)} == {first.uid.value}
    numbers = [int(one.sequence.value) for one in (first, moved, gone)]
    assert numbers == sorted(set(numbers))
    assert (made.method, gone.status.value) == ("CANCEL", "CANCELLED")
    assert "METHOD:CANCEL" in lines(made.content)


def test_another_tape_has_another_entry_and_neither_names_anybody(
    tape: Application, clinic: Clinic, now: datetime
) -> None:
    other = ApplicationFactory(patient=tape.patient, region="ankle", plan__screen__region="ankle")
    files = [written(one, clinic, now).content for one in (tape, other)]
    uids = [read(content).uid.value for content in files]
    assert uids[0] != uids[1]
    text = b"".join(files).decode().replace("\r\n ", "").lower()
    secrets = ("quill", "ada", "1985", "knee", "ankle", link_token(tape).lower(), "/t/", "example.org/")
    assert [word for word in secrets if word in text] == []


def test_it_invites_nobody(tape: Application, clinic: Clinic, now: datetime) -> None:
    # RFC 5546, 3.2.1: a published entry has no attendee
    made = written(tape, clinic, now)
    assert made.method == "PUBLISH"
    assert "ATTENDEE" not in made.content.decode()


@pytest.mark.parametrize("name", ["é" * 120, "診療所" * 40, "Lane, O'Neil; \\ \r\nATTENDEE:mailto:evil@example.net"])
def test_names_are_escaped_and_folded(tape: Application, clinic: Clinic, now: datetime, name: str) -> None:
    clinic.name = name
    content = written(tape, clinic, now).content
    assert max(len(line) for line in content.split(b"\r\n")) <= 75
    assert [line for line in lines(content) if line.startswith("ATTENDEE")] == []
    assert read(content).summary.value == f"Tape comes off: {name}".replace("\r\n", "\n")


def test_a_standing_visit_for_it_is_the_entry_instead(tape: Application, clinic: Clinic, now: datetime) -> None:
    visit: Visit = VisitFactory(patient=tape.patient, purpose="removal", note="Her knee again")
    tape.removal_visit = visit
    made = tape_calendar(tape, clinic=clinic, sender=SENDER, now=now)
    event = read(made.content)
    assert (event.uid.value, event.dtstart.value) == (f"{visit.uid}@wearwindow", visit.starts_at)
    assert made.method == "PUBLISH"
    text = made.content.decode()
    assert [word for word in ("ATTENDEE", "ada@example.org", "Quill", "knee") if word in text] == []
    visit.state = Visit.State.CANCELLED
    assert read(tape_calendar(tape, clinic=clinic, sender=SENDER, now=now).content).dtstart.value == tape.removal_day


def test_which_mails_carry_it(tape: Application, clinic: Clinic, now: datetime) -> None:
    carry = {kind for kind in MessageKind if entry_wanted(tape, kind, clinic)}
    assert carry == {MessageKind.AFTERCARE, MessageKind.REMOVAL_EVE, MessageKind.REMOVAL_DAY}
    tape.ended_at = now + timedelta(days=2)
    assert {kind for kind in MessageKind if entry_wanted(tape, kind, clinic)} == {MessageKind.SKIN_FOLLOW_UP}
    tape.ended_at = now + timedelta(days=5)  # on its day: the entry was right
    assert {kind for kind in MessageKind if entry_wanted(tape, kind, clinic)} == set()


def test_with_a_visit_for_it_that_visits_mails_carry_the_entry(tape: Application, clinic: Clinic) -> None:
    tape.removal_visit = VisitFactory(patient=tape.patient, purpose="removal")
    assert {kind for kind in MessageKind if entry_wanted(tape, kind, clinic)} == set()


def test_the_mail_that_says_when_it_comes_off_carries_the_entry(
    tape: Application, clinic: Clinic, now: datetime, mail_server: Callable[..., int], mailbox: Mailbox
) -> None:
    """RFC 6047, 2.4: the part names the method that stands in the calendar."""
    links_keep(application=tape, zone=clinic.zone)
    Application.objects.update(planned_version=1)
    Clinic.objects.update(planned_version=clinic.plan_version)
    Patient.objects.update(planned_version=1)
    MessageFactory(application=tape, kind="removal_day", channel="email")
    Message.objects.update(planned_for=now, wake_at=now)
    by_mail = SmtpTransport(MailServer("127.0.0.1", mail_server(), "plain"), own_settings.SENDER_ADDRESS, timeout=5)
    run_due(lambda: now, transports={"sms": Recorder(), "email": by_mail})
    (mail,) = mailbox.mails
    (part,) = (part for part in mail.walk() if part.get_content_type() == "text/calendar")
    assert isinstance(part, EmailMessage)
    assert (part.get_param("method"), part.get_content_charset(), part.get_filename()) == (
        "PUBLISH", "utf-8", "tape.ics",
    )  # fmt: skip
    content = part.get_payload(decode=True)
    assert isinstance(content, bytes)
    assert vobject.readOne(content.decode()).method.value == "PUBLISH"
    assert read(content).dtstart.value == date(2027, 3, 15)


def test_the_entry_speaks_the_patients_language_where_it_is_approved(
    tape: Application, clinic: Clinic, now: datetime
) -> None:
    tape.patient.language = "es"
    assert read(written(tape, clinic, now).content).summary.value == f"Tape comes off: {clinic.name}"
    clinic.languages = {"es": {"name": "Nur Halloran", "on": "2027-03-01"}}
    event = read(written(tape, clinic, now).content)
    assert event.summary.value == f"Se quita la cinta: {clinic.name}"
    assert event.description.value.startswith("En casa. Despacio, nunca de un tirón")
