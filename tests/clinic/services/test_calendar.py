"""A visit's calendar file, read back with vobject 0.9.9, which shares no code with the library that wrote it."""

import re
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
import vobject

from clinic.models import Clinic, Patient, Visit
from clinic.services.calendar import CalendarFile, visit_calendar
from clinic.services.events import Actor
from clinic.services.visits import visit_book, visit_move, visit_set_state
from tests.factories.clinic import HelperFactory, PatientFactory, UserFactory, VisitFactory

pytestmark = pytest.mark.django_db

SENDER = "desk@example.org"
ADDRESS = "Unit 4, Rose Court; rear door\nRing bell 2"


@pytest.fixture
def patient(db: None) -> Patient:
    made: Patient = PatientFactory(full_name="Ada Quillfeather", call_me="Ada", email="ada@example.org")
    return made


@pytest.fixture
def visit(patient: Patient) -> Visit:
    """Tuesday 30 March 2027, 10:00 to 10:30 in London, which is an hour ahead of UTC by then (tz database)."""
    start = datetime(2027, 3, 30, 9, 0, tzinfo=UTC)
    made: Visit = VisitFactory(patient=patient, starts_at=start, therapist=UserFactory(), note="Her knee again")
    return made


def written(visit: Visit, now: datetime, clinic: Clinic | None = None, sender: str = SENDER) -> CalendarFile:
    return visit_calendar(visit, clinic=clinic or Clinic(name="Harbour Lane"), sender=sender, now=now)


def read(made: CalendarFile) -> Any:
    """The one event in the file, as another reader sees it."""
    calendar = vobject.readOne(made.content.decode())
    assert len(calendar.vevent_list) == 1
    return calendar.vevent


def lines(made: CalendarFile) -> list[str]:
    """The file's lines, folding undone (RFC 5545, 3.1)."""
    return made.content.decode().replace("\r\n ", "").split("\r\n")


def test_times_are_written_in_utc(visit: Visit, now: datetime) -> None:
    made = lines(written(visit, now))
    wanted = ["DTSTART:20270330T090000Z", "DTEND:20270330T093000Z", "DTSTAMP:20270310T150000Z"]
    assert [line for line in made if line.startswith("DT")] == wanted
    assert not any("TZID" in line for line in made)


def test_another_reader_finds_the_same_instants(visit: Visit, now: datetime) -> None:
    event = read(written(visit, now))
    assert (event.dtstart.value, event.dtend.value, event.dtstamp.value) == (visit.starts_at, visit.ends_at, now)
    assert (event.created.value, event.last_modified.value) == (visit.created_at, visit.changed_at)


def test_what_a_calendar_needs_is_there_once(visit: Visit, now: datetime) -> None:
    names = [re.split("[;:]", line)[0] for line in lines(written(visit, now)) if line]
    wanted = ["BEGIN", "VERSION", "PRODID", "METHOD", "BEGIN", "UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY"]
    assert [name for name in wanted if name not in names] == []
    assert sorted({name for name in names if names.count(name) > 1}) == ["BEGIN", "END"]


def test_booked_moved_and_cancelled_are_one_entry_and_a_new_booking_another(patient: Patient, now: datetime) -> None:
    actor, start, therapist = Actor(word="desk"), now + timedelta(days=5), UserFactory()

    def book() -> Visit:
        unsaved = Visit(ends_at=start + timedelta(minutes=30))
        return visit_book(actor=actor, now=now, patient=patient, therapist=therapist, starts_at=start, visit=unsaved)

    visit = book()
    files = [written(visit, now)]
    later = start + timedelta(days=1)
    files.append(written(visit_move(actor=actor, now=now, visit=visit, starts_at=later), now + timedelta(minutes=1)))
    cancelled = visit_set_state(actor=actor, now=now, visit=visit, state="cancelled")
    files.append(written(cancelled, now + timedelta(minutes=2)))
    files.append(written(book(), now + timedelta(minutes=3)))
    events = [read(made) for made in files]
    assert [made.method for made in files] == ["REQUEST", "REQUEST", "CANCEL", "REQUEST"]
    assert [event.sequence.value for event in events] == ["0", "1", "2", "0"]
    assert [event.status.value for event in events] == ["CONFIRMED", "CONFIRMED", "CANCELLED", "CONFIRMED"]
    assert [len({event.uid.value for event in events[:end]}) for end in (3, 4)] == [1, 2]
    stamps = [event.dtstamp.value for event in events]
    assert stamps == sorted(set(stamps))


@pytest.mark.parametrize("state", Visit.State.values)
def test_the_mail_part_names_the_method_of_the_file(visit: Visit, now: datetime, state: str) -> None:
    visit.state = state
    made = written(visit, now)
    method = "CANCEL" if state == "cancelled" else "REQUEST"
    assert made.content_type == f"text/calendar; charset=utf-8; method={method}"
    assert vobject.readOne(made.content.decode()).method.value == method


def test_the_uid_names_nobody(visit: Visit, now: datetime) -> None:
    assert read(written(visit, now)).uid.value == f"{visit.uid}@wearwindow"


def test_neither_surname_nor_birth_date_nor_reason_is_told(visit: Visit, patient: Patient, now: datetime) -> None:
    Patient.objects.filter(pk=patient.pk).update(born=date(1985, 4, 3))
    text = written(Visit.objects.get(pk=visit.pk), now).content.decode()
    assert "ATTENDEE;CN=Ada;ROLE=REQ-PARTICIPANT:mailto:ada@example.org" in text.replace("\r\n ", "")
    assert [word for word in ("Quillfeather", "1985", "knee", "Taping") if word in text] == []


def test_organizer_and_attendee_are_the_clinic_and_whoever_gets_the_messages(visit: Visit, now: datetime) -> None:
    event = read(written(visit, now))
    assert (event.organizer.value, event.attendee.value) == ("mailto:desk@example.org", "mailto:ada@example.org")
    HelperFactory(patient=visit.patient, email="hal@example.org", call_me="Hal", gets_messages=True)
    helped = read(written(Visit.objects.get(pk=visit.pk), now))
    assert (helped.attendee.value, helped.attendee.params["CN"]) == ("mailto:hal@example.org", ["Hal"])


def test_without_addresses_there_is_neither(visit: Visit, now: datetime) -> None:
    visit.patient.email = ""
    text = written(visit, now, sender="").content.decode()
    assert [name for name in ("ORGANIZER", "ATTENDEE") if name in text] == []


def test_commas_semicolons_line_breaks_and_backslashes_are_escaped_once(visit: Visit, now: datetime) -> None:
    # RFC 5545, 3.3.11
    clinic = Clinic(name="Follow-up: O'Neil, Siân; knee", address=ADDRESS, telephone=r"C:\tape\notes")
    made = written(visit, now, clinic)
    assert r"SUMMARY:Visit: Follow-up: O'Neil\, Siân\; knee" in lines(made)
    assert r"LOCATION:Unit 4\, Rose Court\; rear door\nRing bell 2" in lines(made)
    assert r"DESCRIPTION:To move or cancel this visit\, call C:\\tape\\notes." in lines(made)
    event = read(made)
    assert event.summary.value == "Visit: Follow-up: O'Neil, Siân; knee"
    assert event.location.value == ADDRESS
    assert event.description.value == r"To move or cancel this visit, call C:\tape\notes."


@pytest.mark.parametrize("line_break", ["\r\n", "\n", "\r", "\x0b", "\x0c", "\x85", "\u2028", "\u2029"])
def test_a_line_break_in_a_text_opens_no_property(visit: Visit, now: datetime, line_break: str) -> None:
    evil = line_break.join(["Visit", "ATTENDEE:mailto:evil@example.net", "END:VEVENT", "BEGIN:VEVENT"])
    made = written(visit, now, Clinic(name=evil, address=evil, telephone=evil))
    found = lines(made)
    assert [found.count(line) for line in ("BEGIN:VEVENT", "END:VEVENT")] == [1, 1]
    assert [line for line in found if line.startswith("ATTENDEE") and "evil" in line] == []
    assert read(made).location.value == evil.replace(line_break, "\n")


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ('O"Neil; Siân, Dr', '"O^\'Neil; Siân, Dr"'),  # RFC 6868 writes a quote inside a parameter as ^'
        ("Ada:mailto", '"Ada:mailto"'),
        ("Ada\r\nEND:VEVENT", '"Ada END:VEVENT"'),
    ],
)
def test_a_name_with_marks_stays_one_parameter(visit: Visit, now: datetime, name: str, shown: str) -> None:
    visit.patient.call_me = name
    (line,) = [line for line in lines(written(visit, now)) if line.startswith("ATTENDEE")]
    assert f"CN={shown};" in line or f"CN={shown}:" in line
    assert line.endswith(":mailto:ada@example.org")


def test_other_control_characters_are_left_out(visit: Visit, now: datetime) -> None:
    made = written(visit, now, Clinic(name="Har\x00bour\x07 Lane\x7f"))
    assert read(made).summary.value == "Visit: Harbour Lane"


@pytest.mark.parametrize("name", ["é" * 120, "診療所" * 40, "a" * 120, "🩹" * 60, "e\u0301" * 60])
def test_lines_are_folded_by_octets_and_never_inside_a_character(visit: Visit, now: datetime, name: str) -> None:
    made = written(visit, now, Clinic(name=name, address=name))
    raw = made.content.split(b"\r\n")
    assert (raw[-1], b"\n" in b"".join(raw), b"\r" in b"".join(raw)) == (b"", False, False)
    assert max(len(line) for line in raw) <= 75
    assert [line.decode() for line in raw]  # a line cut inside a character would not decode
    assert read(made).summary.value == f"Visit: {name}"


def test_a_fraction_of_a_second_is_dropped(visit: Visit, now: datetime) -> None:
    made = written(visit, now + timedelta(microseconds=999_999))
    assert "DTSTAMP:20270310T150000Z" in lines(made)


@pytest.mark.parametrize(
    ("key", "summary", "told"),
    [
        ("en", "Visit: Harbour Lane", "To move or cancel this visit, call (212) 555-0100."),
        ("de", "Termin: Harbour Lane", "rufen Sie (212) 555-0100 an."),
        ("ar", "موعد: Harbour Lane", "\u200e(212) 555-0100\u200e."),
    ],
)
def test_the_entry_speaks_the_patients_language_where_it_is_approved(
    visit: Visit, now: datetime, key: str, summary: str, told: str
) -> None:
    clinic = Clinic(name="Harbour Lane", telephone="(212) 555-0100")
    visit.patient.language = key
    assert read(written(visit, now, clinic)).summary.value == "Visit: Harbour Lane"
    clinic.languages = {key: {"name": "Nur Halloran", "on": "2027-03-01"}}
    event = read(written(visit, now, clinic))
    assert (event.summary.value, event.description.value.endswith(told)) == (summary, True)
