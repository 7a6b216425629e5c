"""A therapist's diary for their own calendar program, read back with vobject, which shares no code with the writer."""

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import vobject

from clinic.models import CalendarFeed, Clinic, Event, User, Visit
from clinic.services.events import Actor
from clinic.services.feeds import feed_calendar, feed_find, feed_make, feed_stop, feed_visits
from tests.factories.clinic import PatientFactory, UserFactory, VisitFactory

ACTOR = Actor(word="test")


@pytest.fixture
def thea(db: None) -> User:
    made: User = UserFactory(full_name="Thea Pist")
    return made


def read(content: bytes) -> Any:
    return vobject.readOne(content.decode())


def test_the_secret_is_long_and_kept_nowhere(clinic: Clinic, thea: User, now: datetime) -> None:
    token = feed_make(actor=ACTOR, now=now, therapist=thea)
    assert re.fullmatch(r"[A-Za-z0-9_-]{43}", token)  # 256 bits in base64url, RFC 4648, 5
    stored = str(list(CalendarFeed.objects.values())) + str(list(Event.objects.values()))
    assert token not in stored
    assert feed_find(token) == thea
    assert feed_make(actor=ACTOR, now=now, therapist=thea) != token


def test_a_new_address_ends_the_earlier_one_and_stop_ends_both(clinic: Clinic, thea: User, now: datetime) -> None:
    first = feed_make(actor=ACTOR, now=now, therapist=thea)
    second = feed_make(actor=ACTOR, now=now + timedelta(days=1), therapist=thea)
    assert (feed_find(first), feed_find(second)) == (None, thea)
    feed_stop(actor=ACTOR, now=now, therapist=thea)
    feed_stop(actor=ACTOR, now=now, therapist=thea)
    assert feed_find(second) is None
    verbs = list(Event.objects.order_by("id").values_list("verb", "subject_id"))
    assert verbs == [("feed.made", str(thea.pk)), ("feed.made", str(thea.pk)), ("feed.stopped", str(thea.pk))]


@pytest.mark.parametrize("change", [{"is_active": False}, {"is_therapist": False}])
def test_somebody_who_left_has_no_calendar_here(clinic: Clinic, thea: User, now: datetime, change: Any) -> None:
    token = feed_make(actor=ACTOR, now=now, therapist=thea)
    User.objects.filter(pk=thea.pk).update(**change)
    assert feed_find(token) is None


def test_it_holds_the_therapists_own_visits_that_stand_within_its_days(
    clinic: Clinic, thea: User, now: datetime
) -> None:
    def visit(days: int, **rest: Any) -> Visit:
        made: Visit = VisitFactory(starts_at=now + timedelta(days=days), **({"therapist": thea} | rest))
        return made

    inside = [visit(-14), visit(0, state="arrived"), visit(1), visit(89)]
    for outside in (-16, 91):
        visit(outside)
    visit(2, state="cancelled")
    visit(3, state="did_not_attend")
    visit(1, therapist=UserFactory())
    assert feed_visits(thea, clinic=clinic, now=now) == inside


def test_another_reader_finds_the_times_and_where_to_read_more(clinic: Clinic, thea: User, now: datetime) -> None:
    visits = [VisitFactory(therapist=thea), VisitFactory(therapist=thea)]
    calendar = read(feed_calendar(visits, clinic=clinic))
    found = [(one.dtstart.value, one.dtend.value, one.summary.value) for one in calendar.vevent_list]
    assert found == [(visit.starts_at, visit.ends_at, "Visit") for visit in visits]
    urls = [one.url.value for one in calendar.vevent_list]
    assert urls == [f"http://127.0.0.1:8000/visits/{visit.pk}/" for visit in visits]
    assert len({one.uid.value for one in calendar.vevent_list}) == 2
    assert "method" not in calendar.contents
    assert calendar.contents["refresh-interval"][0].value == "PT1H"


def test_nobody_and_nothing_clinical_stands_in_it(clinic: Clinic, thea: User, now: datetime) -> None:
    patient = PatientFactory(full_name="Ada Quillfeather", call_me="Ada", email="ada@example.org", note="between us")
    visit = VisitFactory(patient=patient, therapist=thea, note="Her knee again", purpose="removal")
    text = feed_calendar([visit], clinic=clinic).decode().replace("\r\n ", "")
    secrets = [
        "Quill", "Ada", "1985", patient.phone, "555-01", "ada@", "between us", "knee", "removal", "Tape", "Thea",
        "ORGANIZER", "ATTENDEE",
    ]  # fmt: skip
    assert [secret for secret in secrets if secret in text] == []


def test_a_moved_visit_is_the_same_entry_with_a_higher_number(clinic: Clinic, thea: User, now: datetime) -> None:
    visit = VisitFactory(therapist=thea)
    first = read(feed_calendar([visit], clinic=clinic)).vevent
    visit.sequence, visit.changed_at = 1, now + timedelta(hours=1)
    moved = read(feed_calendar([visit], clinic=clinic)).vevent
    assert first.uid.value == moved.uid.value
    assert (first.sequence.value, moved.sequence.value) == ("0", "1")
    assert (first.dtstamp.value, moved.dtstamp.value) == (now, datetime(2027, 3, 10, 16, 0, tzinfo=UTC))


@pytest.mark.parametrize("name", ["é" * 120, "診療所" * 40, "Lane, O'Neil; \\ \r\nBEGIN:VEVENT"])
def test_lines_are_folded_and_text_opens_no_property(clinic: Clinic, thea: User, name: str) -> None:
    clinic.name = name
    content = feed_calendar([VisitFactory(therapist=thea)], clinic=clinic)
    assert max(len(line) for line in content.split(b"\r\n")) <= 75  # RFC 5545, 3.1
    calendar = read(content)
    assert len(calendar.vevent_list) == 1
    assert calendar.contents["name"][0].value.endswith(name.replace("\r\n", "\n")[-20:])


def test_an_empty_diary_is_a_calendar_all_the_same(clinic: Clinic) -> None:
    assert read(feed_calendar([], clinic=clinic)).version.value == "2.0"
