"""Booking for tape that should be off already: a follow-up is offered, in plain words, at the same time."""

import re
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client

from clinic.models import Clinic, User, Visit
from clinic.services.events import Actor
from clinic.services.visits import FollowUpInstead, VisitRefused, visit_book
from taping.models import Application
from tests.factories import ApplicationFactory

SignedIn = Callable[..., tuple[Client, User]]


@pytest.fixture
def tape(clinic: Clinic) -> Application:
    """Its window closes on Monday 15 March 2027."""
    made: Application = ApplicationFactory()
    return made


@pytest.fixture(autouse=True)
def _after_the_window(now: datetime) -> Iterator[None]:
    with time_machine.travel(now + timedelta(days=6), tick=False):
        yield


def book(client: Client, tape: Application, **given: str) -> Any:
    told = {
        "therapist": str(tape.therapist_id),
        "purpose": "removal",
        "minutes": "30",
        "on": "2027-03-16",
        "at": "15:00",
        "note": "rings at the back door",
        **given,
    }
    return client.post(f"/visits/book/?patient={tape.patient_id}", told)


@pytest.mark.parametrize("role", ["desk", "therapist"])
def test_a_removal_that_is_too_late_offers_the_same_time_as_a_follow_up(
    signed_in: SignedIn, tape: Application, role: str
) -> None:
    client, _ = signed_in(role)
    response = book(client, tape)
    page = response.content.decode()
    assert response.status_code == 422
    assert "The tape should have been off by Mon 15 Mar 2027, so it comes off as soon as possible" in page
    assert "Choose a time on that day or before it" not in page
    button = re.search(r'name="starts_at" value="([^"]+)">Book today 15:00 as a follow-up</button>', page)
    assert button is not None
    # whichever button is pressed now, it books what the page says
    assert re.findall(r'<option value="(\w+)" selected>', page.partition('name="purpose"')[2])[:1] == ["follow_up"]
    assert Visit.objects.count() == 0
    booked = book(client, tape, purpose="follow_up", starts_at=button[1], on="", at="")
    visit = Visit.objects.get()
    assert booked["Location"] == f"/visits/{visit.pk}/"
    assert (visit.purpose, visit.starts_at.isoformat(), visit.note) == (
        "follow_up",
        "2027-03-16T19:00:00+00:00",
        "rings at the back door",
    )
    tape.refresh_from_db()
    assert (tape.removal_visit, tape.removal_day) == (None, tape.closes_on)


def test_while_days_are_left_an_earlier_one_is_asked_for(signed_in: SignedIn, tape: Application, now: datetime) -> None:
    with time_machine.travel(now + timedelta(days=5), tick=False):
        page = book(signed_in()[0], tape).content.decode()
    assert "The last day of the wear window is Mon 15 Mar 2027. Choose a time on that day or before it." in page
    assert "as a follow-up</button>" not in page


def test_the_last_day_itself_is_not_too_late_to_ask(tape: Application, now: datetime) -> None:
    """On the evening of the last day, in the clinic's zone, the window is not over yet."""
    evening = now + timedelta(days=5, hours=12)  # 15 March, 23:00 in New York: 16 March in UTC
    starts_at = now + timedelta(days=6)
    visit = Visit(purpose="removal", ends_at=starts_at + timedelta(minutes=15))
    with pytest.raises(VisitRefused) as refused:
        visit_book(
            actor=Actor(word="x"),
            now=evening,
            patient=tape.patient,
            therapist=tape.therapist,
            starts_at=starts_at,
            visit=visit,
        )
    assert not isinstance(refused.value, FollowUpInstead)


def test_the_page_of_an_overdue_tape_offers_a_follow_up_and_no_day_that_is_past(
    signed_in: SignedIn, tape: Application
) -> None:
    page = signed_in("desk")[0].get(f"/applications/{tape.pk}/").content.decode()
    assert "The wear window ended yesterday: the tape should come off as soon as possible." in page
    assert f'href="/visits/book/?patient={tape.patient_id}&amp;purpose=follow_up">Book a follow-up</a>' in page
    assert "purpose=removal" not in page
