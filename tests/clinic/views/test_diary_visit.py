"""One visit: moving it, cancelling it, marking what happened, and taking it into a calendar."""

import html
import re
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest
import time_machine
import vobject
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.models import Event, User, Visit
from clinic.services.events import Actor
from clinic.services.visits import visit_move
from tests.factories.clinic import NOW, PatientFactory, UserFactory, VisitFactory

SignedIn = Callable[..., tuple[Client, User]]
TEN = "2027-03-11T10:00:00-05:00"
ELEVEN = "2027-03-11T11:00:00-05:00"


@pytest.fixture(autouse=True)
def at_now(now: datetime) -> Iterator[None]:
    with time_machine.travel(now, tick=False):
        yield


@pytest.fixture
def desk(signed_in: SignedIn) -> Client:
    return signed_in("desk")[0]


@pytest.fixture
def visit(desk: Client) -> Visit:
    """Tomorrow, 10:00 to 10:45."""
    start = datetime.fromisoformat(TEN)
    patient = PatientFactory(full_name="Ada Quillfeather")
    made: Visit = VisitFactory(patient=patient, starts_at=start, ends_at=start + timedelta(minutes=45))
    return made


def address(name: str, visit: Visit, **query: Any) -> str:
    return reverse(name, args=[visit.pk], query=query)


def text_of(answer: Any) -> str:
    return html.unescape(answer.content.decode())


def buttons(text: str) -> list[str]:
    """What the page's buttons would mark the visit as."""
    return re.findall(r'name="state" value="(\w+)"', text)


def state_of(visit: Visit) -> str:
    return Visit.objects.get(pk=visit.pk).state


def move(client: Client, visit: Visit, query: dict[str, Any] | None = None, **typed: Any) -> Any:
    return client.post(address("visit_move", visit, **(query or {})), {"therapist": visit.therapist_id, **typed})


def test_the_page_says_what_was_booked_and_is_put_on_record(desk: Client, visit: Visit) -> None:
    text = text_of(desk.get(address("visit_page", visit)))
    assert "<h1>Visit of <bdi>Ada Quillfeather</bdi>, tomorrow 10:00</h1>" in text
    assert "tomorrow 10:00 to 10:45" in text
    event = Event.objects.get(verb="patient.read")
    assert (event.patient, event.subject_id) == (visit.patient, str(visit.pk))


@pytest.mark.parametrize(
    ("state", "marks"),
    [
        ("booked", ["arrived", "cancelled"]),
        ("arrived", ["done", "booked"]),
        ("done", ["arrived"]),
        ("did_not_attend", ["arrived", "booked"]),
        ("cancelled", []),
    ],
)
def test_only_what_can_happen_next_has_a_button(desk: Client, visit: Visit, state: str, marks: list[str]) -> None:
    Visit.objects.filter(pk=visit.pk).update(state=state)
    text = text_of(desk.get(address("visit_page", visit)))
    assert buttons(text) == marks
    assert ("Move to another time" in text) == (state == "booked")


@pytest.mark.parametrize(("seconds", "offered"), [(1, False), (0, True), (-1, True)])
def test_nobody_has_failed_to_come_before_the_visit_begins(
    desk: Client, visit: Visit, now: datetime, seconds: int, offered: bool
) -> None:
    Visit.objects.filter(pk=visit.pk).update(starts_at=now + timedelta(seconds=seconds))
    assert ("did_not_attend" in buttons(text_of(desk.get(address("visit_page", visit))))) == offered


@pytest.mark.parametrize("state", ["arrived", "done", "did_not_attend", "cancelled"])
def test_a_mark_is_stored_and_said(desk: Client, visit: Visit, state: str) -> None:
    answer = desk.post(address("visit_state", visit), {"state": state}, follow=True)
    assert state_of(visit) == state
    assert f"Ada Quillfeather: {state.replace('_', ' ')}." in text_of(answer)


@pytest.mark.parametrize("state", ["", "gone", "BOOKED"])
def test_a_state_that_does_not_exist_changes_nothing(desk: Client, visit: Visit, state: str) -> None:
    answer = desk.post(address("visit_state", visit), {"state": state}, follow=True)
    assert "Nothing was changed" in text_of(answer)
    assert state_of(visit) == "booked"


def test_a_mark_that_comes_too_late_is_refused_in_words(desk: Client, visit: Visit) -> None:
    Visit.objects.filter(pk=visit.pk).update(state="cancelled")
    answer = desk.post(address("visit_state", visit), {"state": "arrived"}, follow=True)
    assert "This visit was cancelled. Book a new one." in text_of(answer)
    assert state_of(visit) == "cancelled"


def test_looking_at_a_link_changes_nothing(desk: Client, visit: Visit) -> None:
    answer = desk.get(address("visit_state", visit, state="cancelled"))
    assert (answer.status_code, state_of(visit)) == (405, "booked")


def test_cancelling_asks_once_more_and_frees_the_time(desk: Client, visit: Visit) -> None:
    text = text_of(desk.get(address("visit_page", visit)))
    assert text.index("Cancel this visit") < text.index("Yes, cancel the visit")
    desk.post(address("visit_state", visit), {"state": "cancelled"})
    booking = reverse("visit_book", query={"patient": visit.patient_id, "therapist": visit.therapist_id})
    assert TEN in text_of(desk.get(booking))


def test_a_visit_moves_in_two_taps_and_keeps_its_length(desk: Client, visit: Visit) -> None:
    chooser = text_of(desk.get(address("visit_move", visit)))
    assert f'name="starts_at" value="{ELEVEN}"' in chooser
    answer = move(desk, visit, starts_at=ELEVEN)
    moved = Visit.objects.get(pk=visit.pk)
    assert answer.headers["Location"] == address("visit_page", visit)
    assert (moved.starts_at, moved.ends_at - moved.starts_at) == (
        datetime.fromisoformat(ELEVEN),
        timedelta(minutes=45),
    )


def test_the_time_at_which_it_stands_is_no_other_time_but_is_one_with_somebody_else(desk: Client, visit: Visit) -> None:
    other = UserFactory()
    own = text_of(desk.get(address("visit_move", visit)))
    theirs = text_of(desk.get(address("visit_move", visit), {"therapist": other.pk}))
    button = f'name="starts_at" value="{TEN}"'
    assert (button in own, button in theirs) == (False, True)


def test_a_visit_may_move_to_another_therapist(desk: Client, visit: Visit) -> None:
    other = UserFactory()
    move(desk, visit, starts_at=TEN, therapist=other.pk)
    assert Visit.objects.get(pk=visit.pk).therapist == other


def test_the_written_time_stands_as_it_is_and_unchanged_it_moves_nothing(desk: Client, visit: Visit) -> None:
    odd = visit.starts_at + timedelta(seconds=37)
    Visit.objects.filter(pk=visit.pk).update(starts_at=odd)
    text = text_of(desk.get(address("visit_move", visit)))
    assert 'name="on" value="2027-03-11"' in text
    assert 'name="at" value="10:00"' in text
    answer = desk.get(move(desk, visit, on="2027-03-11", at="10:00").headers["Location"])
    stored = Visit.objects.get(pk=visit.pk)
    assert (stored.starts_at, stored.sequence) == (odd, 0)
    assert "Left as it is: tomorrow at 10:00" in text_of(answer)


@pytest.mark.parametrize(
    ("typed", "reason"),
    [
        ({}, "Choose one of the free times, or write a date and a time."),
        ({"on": "2027-03-14", "at": "02:30"}, "02:30 does not exist"),
        ({"on": "2027-03-10", "at": "09:00"}, "That time has already passed."),
        ({"starts_at": ELEVEN}, "already has a visit at that time"),
    ],
)
def test_a_move_that_cannot_be_says_why_and_moves_nothing(
    desk: Client, visit: Visit, typed: dict[str, str], reason: str
) -> None:
    VisitFactory(therapist=visit.therapist, starts_at=datetime.fromisoformat(ELEVEN))
    answer = move(desk, visit, {"next": "/patients/"}, **typed)
    text = text_of(answer)
    assert (answer.status_code, text.count("<title>Error: ")) == (422, 1)
    assert text.count(reason) == 2  # in the summary and at the field
    assert 'name="next" value="/patients/"' in text
    assert Visit.objects.get(pk=visit.pk).starts_at == datetime.fromisoformat(TEN)


def test_a_visit_whose_therapist_left_can_still_be_moved(desk: Client, visit: Visit) -> None:
    User.objects.filter(pk=visit.therapist_id).update(is_active=False)
    move(desk, visit, starts_at=ELEVEN)
    assert Visit.objects.get(pk=visit.pk).starts_at == datetime.fromisoformat(ELEVEN)


def test_the_calendar_file_is_read_by_another_program(desk: Client, visit: Visit) -> None:
    answer = desk.get(address("visit_calendar", visit))
    event = vobject.readOne(answer.content.decode()).vevent
    assert (event.dtstart.value, event.dtend.value) == (visit.starts_at, visit.ends_at)
    assert event.organizer.value == "mailto:clinic@example.org"
    assert answer.headers["Content-Type"] == "text/calendar; charset=utf-8; method=REQUEST"
    assert answer.headers["Content-Disposition"] == 'attachment; filename="visit-2027-03-11.ics"'


@pytest.mark.parametrize("name", ["visit_page", "visit_move", "visit_calendar"])
def test_each_page_takes_few_queries(desk: Client, visit: Visit, name: str) -> None:
    with CaptureQueriesContext(connection) as caught:
        assert desk.get(address(name, visit)).status_code == 200
    assert len(caught) <= 15


@pytest.mark.parametrize("name", ["visit_page", "visit_move", "visit_calendar"])
def test_strangers_are_sent_to_the_log_in(client: Client, visit: Visit, name: str) -> None:
    client.logout()
    answer = client.get(address(name, visit))
    assert answer.headers["Location"].startswith(reverse("log_in"))


@pytest.mark.parametrize("name", ["visit_page", "visit_move", "visit_calendar", "visit_state"])
def test_a_visit_that_does_not_exist_is_not_found(desk: Client, name: str) -> None:
    made = reverse(name, args=[999999])
    answer = desk.post(made, {"state": "done"}) if name == "visit_state" else desk.get(made)
    assert answer.status_code == 404


def test_two_who_moved_the_same_visit_are_told_of_each_other(desk: Client, visit: Visit) -> None:
    """A moves it while B's page is open: B sees who moved it and where to, and it stays there until B chooses anew."""
    ann = UserFactory(full_name="Ann Other")
    eleven, noon = datetime.fromisoformat(ELEVEN), datetime.fromisoformat(ELEVEN) + timedelta(hours=1)
    visit_move(actor=Actor(ann), now=NOW, visit=visit, starts_at=eleven)
    answer = move(desk, visit, starts_at=noon.isoformat(), sequence="0")
    text = text_of(answer)
    assert (answer.status_code, Visit.objects.get(pk=visit.pk).starts_at) == (409, eleven)
    assert text.count("Ann Other moved this visit in the meantime, to tomorrow at 11:00 with") == 2
    assert "It is booked for <strong>tomorrow 11:00 to 11:45</strong>" in text
    assert '<input type="hidden" name="sequence" value="1">' in text
    assert move(desk, visit, starts_at=noon.isoformat(), sequence="1").status_code == 302
    assert Visit.objects.get(pk=visit.pk).starts_at == noon
