"""The calendar's address: shown once, read by programs without a log-in, and the same silence for all that is wrong."""

import re
from collections.abc import Callable, Iterator
from uuid import uuid4

import pytest
import time_machine
import vobject
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from clinic.models import CalendarFeed, Clinic, Event, OnceKey, User, Visit
from clinic.services.events import Actor
from clinic.services.feeds import feed_make
from tests.factories.clinic import NOW, UserFactory, VisitFactory

SignedIn = Callable[..., tuple[Client, User]]
PAGE = "/diary/my-calendar/"


@pytest.fixture(autouse=True)
def frozen() -> Iterator[time_machine.Traveller]:
    with time_machine.travel(NOW, tick=False) as clock:
        yield clock


@pytest.fixture
def address(clinic: Clinic) -> str:
    """The address of Thea Pist's calendar, with one visit in it."""
    thea = UserFactory(full_name="Thea Pist")
    VisitFactory(therapist=thea)
    return f"/feed/{feed_make(actor=Actor(word='test'), now=NOW, therapist=thea)}/visits.ics"


def shown(page: str) -> str:
    found = re.findall(r'value="http://127.0.0.1:8000(/feed/[A-Za-z0-9_-]{43}/visits.ics)" readonly', page)
    assert len(found) == 1
    return str(found[0])


def test_it_is_made_shown_once_and_read_without_a_log_in(signed_in: SignedIn) -> None:
    client, therapist = signed_in("therapist")
    visit = VisitFactory(therapist=therapist)
    page = client.post(PAGE, {"once": str(uuid4())})
    assert page.headers["Cache-Control"] == "no-store, private"
    address = shown(page.content.decode())
    assert "/feed/" not in client.get(PAGE).content.decode()
    answer = Client().get(address)
    assert (answer.status_code, answer.headers["Content-Type"]) == (200, "text/calendar; charset=utf-8")
    assert vobject.readOne(answer.content.decode()).vevent.dtstart.value == visit.starts_at


def test_the_same_form_sent_twice_makes_one_address_and_says_so(signed_in: SignedIn) -> None:
    client, _ = signed_in("therapist")
    form = {"once": str(uuid4())}
    address = shown(client.post(PAGE, form).content.decode())
    again = client.post(PAGE, form, follow=True)
    assert "shown once already" in again.content.decode()
    assert Client().get(address).status_code == 200
    assert address.split("/")[2] not in str(list(OnceKey.objects.values()))


def test_a_new_one_ends_the_earlier_and_stop_ends_it(signed_in: SignedIn) -> None:
    client, _ = signed_in("therapist")
    first, second = (shown(client.post(PAGE, {"once": str(uuid4())}).content.decode()) for _ in range(2))
    assert [Client().get(one).status_code for one in (first, second)] == [404, 200]
    stopped = client.post(PAGE, {"stop": "1"}, follow=True)
    assert "The address is stopped." in stopped.content.decode()
    assert Client().get(second).status_code == 404


def test_whatever_is_wrong_the_answer_is_the_same(address: str, client: Client) -> None:
    thea = User.objects.get(full_name="Thea Pist")
    new = feed_make(actor=Actor(word="test"), now=NOW, therapist=thea)
    old = client.get(address)
    unknown = client.get(f"/feed/{'x' * 43}/visits.ics")
    short = client.get("/feed/x/visits.ics")
    User.objects.filter(pk=thea.pk).update(is_active=False)
    left = client.get(f"/feed/{new}/visits.ics")
    answers = [(one.status_code, one.content, sorted(one.headers.items())) for one in (old, unknown, short, left)]
    assert [one[0] for one in answers] == [404] * 4
    assert answers == [answers[0]] * 4


def test_a_program_that_has_it_already_is_sent_nothing(address: str, client: Client) -> None:
    first = client.get(address)
    assert first.headers["Cache-Control"] == "private, no-cache"
    assert first.headers["X-Robots-Tag"] == "noindex, nofollow"
    tag = first.headers["ETag"]
    again = client.get(address, headers={"If-None-Match": tag})
    assert (again.status_code, again.content, again.headers["ETag"]) == (304, b"", tag)
    Visit.objects.update(starts_at=NOW, ends_at=NOW.replace(hour=16), sequence=1)
    changed = client.get(address, headers={"If-None-Match": tag})
    assert changed.status_code == 200
    assert changed.headers["ETag"] != tag


@pytest.mark.parametrize("method", ["post", "put", "patch", "delete"])
def test_it_can_only_be_read(address: str, client: Client, method: str) -> None:
    assert getattr(client, method)(address).status_code == 405


def test_reading_changes_nothing_and_sets_no_cookie(address: str, client: Client) -> None:
    before = (list(CalendarFeed.objects.values()), Event.objects.count())
    answer = client.get(address)
    assert client.head(address).status_code == 200
    assert (list(CalendarFeed.objects.values()), Event.objects.count()) == before
    assert (answer.cookies, client.cookies) == ({}, {})


def test_a_log_in_opens_nobody_elses_calendar(signed_in: SignedIn, address: str) -> None:
    client, _ = signed_in("therapist")
    assert "Make my address" in client.get(PAGE).content.decode()
    client.post(PAGE, {"stop": "1"})
    assert Client().get(address).status_code == 200


def test_thirty_visits_take_as_many_queries_as_one(address: str, client: Client) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as found:
            assert client.get(address).status_code == 200
        return len(found)

    one = queries()
    thea = User.objects.get(full_name="Thea Pist")
    for _ in range(29):
        VisitFactory(therapist=thea)
    assert (one, queries()) == (3, 3)


def test_the_diary_offers_it_to_therapists(signed_in: SignedIn) -> None:
    client, _ = signed_in("therapist")
    assert f'href="{PAGE}"' in client.get("/diary/").content.decode()
    client, _ = signed_in("desk")
    assert f'href="{PAGE}"' not in client.get("/diary/").content.decode()
