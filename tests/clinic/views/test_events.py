"""The event log: found, paged, downloaded; and a patient's own list."""

import re
from collections.abc import Callable
from datetime import datetime, timedelta
from html import unescape
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from pytest_django import Settings

from clinic.models import Event, Patient, User
from clinic.services.events import Actor, event_record
from tests.factories import PatientFactory, UserFactory
from tests.factories.clinic import NOW

SignedIn = Callable[..., tuple[Client, User]]
LOG, EXPORT = reverse("events"), reverse("events_export")
MOST_QUERIES = 15


def note(verb: str = "patient.read", *, patient: Patient, by: User | None = None, at: datetime = NOW) -> Event:
    actor = Actor(user=by, word="" if by else "patient link", origin="192.0.2.7")
    return event_record(actor=actor, verb=verb, subject=patient, patient=patient, now=at, fields=["phone"])


def shown(client: Client, **query: str) -> list[int]:
    """The ids of the events on the page, without those of looking at the log."""
    answer = client.get(LOG, query)
    assert answer.status_code == 200
    events: list[Event] = [row["event"] for row in answer.context["rows"]]
    return [event.pk for event in events if event.verb != "events.read"]


@pytest.fixture
def text() -> Callable[[Any], str]:
    """The words of a page, without its marks."""

    def words(answer: Any) -> str:
        return " ".join(unescape(re.sub(r"<[^>]*>", " ", answer.content.decode())).replace("( ", "(").split())

    return words


@pytest.fixture
def manager(signed_in: SignedIn) -> Client:
    return signed_in("manager")[0]


def test_by_patient_person_kind_and_day(manager: Client) -> None:
    thea, ada, bea = UserFactory(), PatientFactory(full_name="Ada Quill"), PatientFactory(full_name="Bea Longstocking")
    read = note(patient=ada, by=thea)
    changed = note("patient.changed", patient=bea, by=thea, at=NOW + timedelta(days=1))
    by_link = note("call.opened", patient=bea, at=NOW + timedelta(days=2))
    assert shown(manager) == [by_link.pk, changed.pk, read.pk]
    assert shown(manager, patient="quill") == [read.pk]
    assert shown(manager, patient=f"#{bea.pk}") == [by_link.pk, changed.pk]
    assert shown(manager, patient="nobody of that name") == []
    assert shown(manager, who=f"u{thea.pk}") == [changed.pk, read.pk]
    assert shown(manager, who="patient link") == [by_link.pk]
    assert shown(manager, kind="seen") == [read.pk]
    assert shown(manager, kind="person") == [changed.pk]
    assert shown(manager, kind="contact", patient="longstocking") == [by_link.pk]
    assert shown(manager, first="2027-03-11", last="2027-03-11") == [changed.pk]


def test_a_day_is_the_clinics(manager: Client) -> None:
    """03:30 UTC on the 11th is the evening of the 10th in New York."""
    late = note(patient=PatientFactory(), at=datetime.fromisoformat("2027-03-11T03:30:00+00:00"))
    assert shown(manager, first="2027-03-10", last="2027-03-10") == [late.pk]
    assert shown(manager, first="2027-03-11") == []


def test_it_says_who_what_and_from_where(manager: Client, text: Callable[[Any], str]) -> None:
    note(patient=PatientFactory(full_name="Ada Quill"), by=UserFactory(full_name="Thea Pist"))
    page = text(manager.get(LOG))
    assert "10 Mar 2027, 10:00:00 Thea Pist Record looked at (phone) Ada Quill 192.0.2.7" in page


def test_page_after_page_each_event_comes_once(manager: Client) -> None:
    """Also where many have the same moment, and while new ones are added."""
    ada = PatientFactory()
    notes = [note(patient=ada, at=NOW + timedelta(minutes=number // 40)).pk for number in range(120)]
    seen, last = [], None
    for _ in range(3):
        answer = manager.get(LOG, {"patient": f"#{ada.pk}", "after": last or ""})
        seen += [row["event"].pk for row in answer.context["rows"]]
        last = answer.context["last"]
        note(patient=ada, at=NOW + timedelta(days=1))
    assert (answer.context["more"], seen) == (False, notes[::-1])


def test_a_page_of_one_and_of_many_take_the_same_few_queries(manager: Client) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as caught:
            shown(manager, kind="seen", first="2027-03-01", patient="quill")
        return len(caught)

    note(patient=PatientFactory(), by=UserFactory())
    few = queries()
    for _ in range(30):
        note(patient=PatientFactory(), by=UserFactory())
    assert queries() == few <= MOST_QUERIES


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ({"first": "2027-03-10", "last": "2027-03-09"}, "The last day lies before the first"),
        ({"first": "yesterday"}, "choose a day, such as 2027-03-10"),
        ({"who": "u999999"}, "Choose from the list"),
        ({"kind": "secrets"}, "Choose from the list"),
    ],
)
def test_what_cannot_be_looked_for_is_said(manager: Client, query: dict[str, str], words: str) -> None:
    answer = manager.get(LOG, query)
    assert (answer.status_code, words in answer.content.decode()) == (422, True)


def test_looking_at_the_log_is_an_event(signed_in: SignedIn) -> None:
    client, user = signed_in("manager")
    client.get(LOG, {"patient": "quill"})
    event = Event.objects.get()
    assert (event.verb, event.actor, event.fields) == ("events.read", user, ["patient"])


def test_the_file_holds_what_was_looked_for_and_no_formula(signed_in: SignedIn) -> None:
    client, _ = signed_in("manager")
    ada = PatientFactory(full_name="Ada Quill")
    note(patient=ada, by=UserFactory(full_name="=1+1"))
    note(patient=PatientFactory(full_name="Bea Longstocking"))
    answer = client.post(EXPORT, {"patient": f"#{ada.pk}"})
    lines = b"".join(answer.streaming_content).decode("utf-8-sig").splitlines()  # type: ignore[attr-defined]
    assert lines[1:] == [
        f"2027-03-10T10:00:00-05:00,'=1+1,patient.read,Record looked at,{ada.pk},patient,{ada.pk},phone,192.0.2.7"
    ]
    assert Event.objects.filter(verb="events.exported").count() == 1
    assert client.post(EXPORT, {"first": "x"}).status_code == 302


def test_a_patients_own_list_says_who_saw_the_record_by_day(signed_in: SignedIn, text: Callable[[Any], str]) -> None:
    client, manager = signed_in("manager")
    thea, ada = UserFactory(full_name="Thea Pist"), PatientFactory(full_name="Ada Quill")
    for minutes in (0, 5, 9):
        note(patient=ada, by=thea, at=NOW + timedelta(minutes=minutes))
    note("call.opened", patient=ada, at=NOW + timedelta(days=1))
    note(patient=PatientFactory(), by=UserFactory(full_name="Some Body Else"))
    page = text(client.get(reverse("patient_seen", args=[ada.pk])))
    assert "10 Mar 2027, 10:00 Thea Pist Record looked at, 3 times" in page
    assert "11 Mar 2027, 10:00 the patient or a helper, by the link Put on the call list" in page
    assert "Some Body Else" not in page
    assert Event.objects.get(verb="patient.seen_read").actor == manager


def test_behind_a_proxy_the_address_is_that_of_the_person(signed_in: SignedIn, settings: Settings) -> None:
    client, _ = signed_in("manager")
    settings.PROXY_COUNT = 1
    client.get(LOG, headers={"X-Forwarded-For": "198.51.100.1, 203.0.113.9"})
    assert Event.objects.get().origin == "203.0.113.9"
