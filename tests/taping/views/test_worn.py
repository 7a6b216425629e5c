"""Happenings while tape is worn, recorded in the browser: strips and skin."""

import re
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client

from clinic.models import Clinic, User
from reminders.models import Message
from reminders.rules.plan import plan_messages
from reminders.services.subjects import application_facts, policy_of
from taping.models import Application, SkinReport, StripEvent
from tests.factories import ApplicationFactory, StripFactory

SignedIn = Callable[..., tuple[Client, User]]


@pytest.fixture(autouse=True)
def _a_day_later(now: datetime) -> Iterator[None]:
    with time_machine.travel(now + timedelta(days=1), tick=False):
        yield


@pytest.fixture
def tape(clinic: Clinic) -> Application:
    """Tape of two strips, on for a day."""
    made: Application = ApplicationFactory()
    for position in (1, 2):
        StripFactory(plan=made.plan, position=position)
    return made


@pytest.fixture
def therapist(signed_in: SignedIn) -> Client:
    return signed_in()[0]


def happen(client: Client, tape: Application, what: str, **given: Any) -> Any:
    return client.post(f"/applications/{tape.pk}/strips/", {"what": what, **given})


PAGES = ("strips", "skin")


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize(("role", "status"), [("therapist", 200), ("student", 200), ("desk", 403), ("manager", 403)])
def test_only_those_who_tape_open_them(
    signed_in: SignedIn, tape: Application, page: str, role: str, status: int
) -> None:
    client, _ = signed_in(role)
    assert client.get(f"/applications/{tape.pk}/{page}/").status_code == status
    assert client.post(f"/applications/{tape.pk}/{page}/").status_code == (422 if status == 200 else 403)


@pytest.mark.parametrize("page", ["strips", "skin", "skin-after"])
def test_a_stranger_is_sent_to_the_log_in_and_a_missing_tape_is_not_found(
    client: Client, therapist: Client, tape: Application, page: str
) -> None:
    assert therapist.post(f"/applications/999999/{page}/").status_code == 404
    client.logout()
    assert client.post(f"/applications/{tape.pk}/{page}/")["Location"].startswith("/log-in/")


@pytest.mark.parametrize("role", ["desk", "manager"])
def test_nobody_else_answers_for_the_skin_or_takes_back(signed_in: SignedIn, tape: Application, role: str) -> None:
    client, _ = signed_in(role)
    row = StripEvent.objects.create(application=tape, what="edge_trimmed", at=tape.applied_at, saved_at=tape.applied_at)
    assert client.post(f"/applications/{tape.pk}/skin-after/", {"seen": "not_looked"}).status_code == 403
    assert client.post(f"/strip-events/{row.pk}/take-back/", {"why": "x"}).status_code == 403


def test_nothing_is_chosen_beforehand(therapist: Client, tape: Application) -> None:
    assert [" checked" in therapist.get(f"/applications/{tape.pk}/{page}/").content.decode() for page in PAGES] == [
        False,
        False,
    ]


def test_a_strip_off_stands_on_the_tapes_record(therapist: Client, tape: Application) -> None:
    response = happen(therapist, tape, "strip_off", strip="2", by="itself", at="2027-03-10T21:15")
    assert response["Location"] == f"/applications/{tape.pk}/"
    page = therapist.get(response["Location"]).content.decode()
    assert "<strong>One strip off</strong>, strip 2, yesterday 21:15, by itself" in page
    assert "Strip 2, I strip (off)" in therapist.get(f"/applications/{tape.pk}/strips/").content.decode()


def test_a_replaced_strip_leaves_days_and_messages_as_they_are(
    therapist: Client, tape: Application, clinic: Clinic
) -> None:
    before = plan_messages(application_facts(tape, clinic), policy_of(clinic))
    days = (tape.opens_on, tape.closes_on, tape.removal_day)
    response = happen(therapist, tape, "strip_replaced", strip="1", by="therapist")
    tape = Application.objects.get(pk=tape.pk)
    assert (tape.opens_on, tape.closes_on, tape.removal_day) == days
    assert plan_messages(application_facts(tape, clinic), policy_of(clinic)) == before
    assert Message.objects.count() == 0
    assert [str(message) for message in response.wsgi_request._messages] == [
        "Strip replaced: recorded. No exercise before 10:20, while it sets. "
        "The tape's days count on from the day it went on."
    ]


def test_the_last_strip_off_asks_and_ends_the_tape_only_then(
    therapist: Client, tape: Application, now: datetime
) -> None:
    happen(therapist, tape, "strip_off", strip="1")
    response = happen(therapist, tape, "strip_off", strip="2", at="2027-03-10T21:15")
    tape.refresh_from_db()
    assert tape.ended_at is None
    assert StripEvent.objects.count() == 1
    page = therapist.get(response["Location"]).content.decode()
    assert "Was that the last strip?" in page
    assert 'value="2027-03-10T21:15"' in page
    therapist.post(response["Location"], {"how": "came_off", "ended_at": "2027-03-10T21:15"})
    ended = Application.objects.get()
    assert (ended.ended_how, ended.ended_at) == ("came_off", now + timedelta(hours=11, minutes=15))


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"what": ""}, "what"),
        ({"what": "strip_off"}, "strip"),
        ({"what": "strip_off", "strip": "9"}, "strip"),
        ({"what": "edge_trimmed", "at": "2027-03-11T10:01"}, "at"),
        ({"what": "edge_trimmed", "at": "last night"}, "at"),
    ],
)
def test_what_cannot_be_is_refused_beside_its_field(
    therapist: Client, tape: Application, given: dict[str, str], field: str
) -> None:
    response = happen(therapist, tape, given.pop("what"), note="kept words", **given)
    assert response.status_code == 422
    assert list(response.context["form"].errors) == [field]
    assert b"kept words" in response.content
    assert StripEvent.objects.count() == 0


def test_a_new_strip_onto_reacting_skin_is_refused_on_the_page(therapist: Client, tape: Application) -> None:
    SkinReport.objects.create(patient=tape.patient, application=tape, reported_at=tape.applied_at)
    response = happen(therapist, tape, "strip_replaced", strip="1")
    assert response.status_code == 422
    assert "so no new strip goes on" in response.content.decode()


def test_a_mistake_is_taken_back_and_stays_readable(therapist: Client, tape: Application) -> None:
    happen(therapist, tape, "strip_off", strip="2")
    row = StripEvent.objects.get()
    refused = therapist.post(f"/strip-events/{row.pk}/take-back/", {"why": ""}, follow=True)
    assert "Say why it is taken back." in refused.content.decode()
    taken = therapist.post(f"/strip-events/{row.pk}/take-back/", {"why": "the other knee"}, follow=True)
    page = taken.content.decode()
    assert "taken back today 10:00: <bdi>the other knee</bdi>" in page
    assert "Strip 2, I strip</label>" in re.sub(r"\s+(?=</label>)", "", page)
    assert therapist.post("/strip-events/999999/take-back/", {"why": "x"}).status_code == 404


def test_tape_that_is_off_has_no_strips_to_record(therapist: Client, tape: Application) -> None:
    therapist.post(f"/applications/{tape.pk}/end/", {"how": "off", "by": "patient"})
    assert therapist.get(f"/applications/{tape.pk}/strips/")["Location"] == f"/applications/{tape.pk}/"


def test_staff_write_a_skin_report_that_stays_open_and_ungraded(therapist: Client, tape: Application) -> None:
    response = therapist.post(f"/applications/{tape.pk}/skin/", {"signs": ["rash"], "words": "it tickles"})
    report = SkinReport.objects.get()
    assert response["Location"] == f"/reports/{report.pk}/"
    assert (report.application, report.signs, report.words, report.kind, report.closed_at) == (
        tape,
        ["rash"],
        "it tickles",
        "",
        None,
    )


def test_an_empty_report_is_refused_with_what_to_do(therapist: Client, tape: Application) -> None:
    response = therapist.post(f"/applications/{tape.pk}/skin/", {"words": "  "})
    assert response.status_code == 422
    assert "Tick what is seen or felt, or write it in words." in response.content.decode()


def test_sending_the_same_form_twice_makes_one_record(therapist: Client, tape: Application) -> None:
    key = "6f1c0d52-9f0f-4f7c-8d53-0a4f5e1f7a11"
    for _ in range(2):
        happen(therapist, tape, "edge_trimmed", once=key)
    assert StripEvent.objects.count() == 1
