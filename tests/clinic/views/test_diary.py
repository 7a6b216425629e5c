"""The diary: whose day it is, what stands in it, and what time it is now."""

import re
import time
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.models import Clinic, Closure, OpeningHours, User, Visit
from tests.factories.clinic import PatientFactory, UserFactory, VisitFactory

SignedIn = Callable[..., tuple[Client, User]]
NEW_YORK = ZoneInfo("America/New_York")


@pytest.fixture(autouse=True)
def at_now(now: datetime) -> Iterator[None]:
    with time_machine.travel(now, tick=False):
        yield


def local(month: int, day: int, hour: int, minute: int = 0) -> datetime:
    """A time of 2027 in New York."""
    return datetime(2027, month, day, hour, minute, tzinfo=NEW_YORK)


def booked(at: datetime, name: str = "Ada Quill", **fields: Any) -> Visit:
    """Half an hour for somebody of that name."""
    visit: Visit = VisitFactory(patient=PatientFactory(full_name=name), starts_at=at, **fields)
    return visit


def page(client: Client, **query: Any) -> str:
    answer = client.get(reverse("diary"), query)
    assert answer.status_code == 200
    return answer.content.decode()


def names(text: str, *wanted: str) -> list[str]:
    """Those of wanted that stand on the page, in the order in which they first do."""
    return sorted((name for name in wanted if name in text), key=text.index)


def test_the_desk_sees_everybodys_visits_of_today_in_order(signed_in: SignedIn) -> None:
    client, _ = signed_in("desk")
    thea = UserFactory(full_name="Thea Pist")
    booked(local(3, 10, 14), "Late Comer", therapist=thea)
    booked(local(3, 10, 9), "Early Bird", therapist=thea)
    booked(local(3, 11, 9), "Next Day", therapist=thea)
    text = page(client)
    assert names(text, "Thea Pist", "Early Bird", "now 10:00", "Late Comer", "Next Day") == [
        "Thea Pist",
        "Early Bird",
        "now 10:00",
        "Late Comer",
    ]


def test_a_therapist_opens_their_own_day_first_and_anybodys_on_request(signed_in: SignedIn) -> None:
    client, user = signed_in()
    other = UserFactory()
    booked(local(3, 10, 9), "My Own", therapist=user)
    booked(local(3, 10, 9), "Of Another", therapist=other)
    found = [names(page(client, **query), "My Own", "Of Another") for query in ({}, {"therapist": other.pk})]
    assert found == [["My Own"], ["Of Another"]]
    assert set(names(page(client, therapist=""), "My Own", "Of Another")) == {"My Own", "Of Another"}


def test_previous_next_and_today_lead_on(signed_in: SignedIn) -> None:
    client, _ = signed_in("desk")
    text = page(client, day="2027-02-28")
    for day in ("2027-02-27", "2027-03-01", "2027-03-10"):
        assert f'href="?day={day}&amp;therapist="' in text


def test_now_is_shown_only_today(signed_in: SignedIn) -> None:
    client, _ = signed_in("desk")
    booked(local(3, 11, 9))
    assert "now 10:00" not in page(client, day="2027-03-11")


def test_the_week_begins_on_monday_and_shows_each_day_with_its_visits(signed_in: SignedIn) -> None:
    client, _ = signed_in("desk")
    booked(local(3, 8, 9), "Mon Day")
    booked(local(3, 14, 23, 30), "Sun Day")
    booked(local(3, 15, 0, 0), "Week After")
    text = page(client, view="week", day="2027-03-10")
    assert names(text, "Mon 8 Mar", "Mon Day", "Sun 14 Mar", "Sun Day", "Week After") == [
        "Mon 8 Mar",
        "Mon Day",
        "Sun 14 Mar",
        "Sun Day",
    ]


@pytest.fixture(params=["UTC", "America/Los_Angeles"])
def server_zone(request: pytest.FixtureRequest) -> Iterator[str]:
    """The server's own zone, which no page may depend on."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("TZ", request.param)
        time.tzset()
        yield request.param
    time.tzset()


def test_a_day_is_the_clinics_own_whatever_the_servers_zone(signed_in: SignedIn, server_zone: str) -> None:
    # London's 31 October 2027 has 25 hours: from 23:00Z the day before to 00:00Z the day after (tz database).
    client, _ = signed_in("desk")
    Clinic.objects.update(time_zone="Europe/London")
    booked(datetime(2027, 10, 30, 22, 59, 59, tzinfo=UTC), "Day Before")
    booked(datetime(2027, 10, 30, 23, 0, tzinfo=UTC), "First Minute")
    booked(datetime(2027, 10, 31, 23, 59, 59, tzinfo=UTC), "Last Second")
    booked(datetime(2027, 11, 1, 0, 0, tzinfo=UTC), "Day After")
    assert names(page(client, day="2027-10-31"), "Day Before", "First Minute", "Last Second", "Day After") == [
        "First Minute",
        "Last Second",
    ]


def test_both_readings_of_an_hour_that_comes_twice_are_on_the_day(signed_in: SignedIn) -> None:
    client, _ = signed_in("desk")
    Clinic.objects.update(time_zone="Europe/London")
    booked(datetime(2027, 10, 31, 0, 30, tzinfo=UTC), "Summer Time")
    booked(datetime(2027, 10, 31, 1, 30, tzinfo=UTC), "Winter Time")
    assert names(page(client, day="2027-10-31"), "Summer Time", "Winter Time") == ["Summer Time", "Winter Time"]


def test_cancelled_visits_stand_apart(signed_in: SignedIn) -> None:
    client, _ = signed_in("desk")
    thea = UserFactory()
    booked(local(3, 10, 9), "Can Celled", therapist=thea, state="cancelled")
    booked(local(3, 10, 9), "Took Over", therapist=thea)
    text = page(client)
    assert names(text, "Took Over", "1 cancelled", "Can Celled") == ["Took Over", "1 cancelled", "Can Celled"]


def test_a_closed_day_says_why_for_the_clinic_and_for_one_therapist(signed_in: SignedIn) -> None:
    client, _ = signed_in("desk")
    thea = UserFactory()
    Closure.objects.create(day=date(2027, 3, 12), reason="Founders' day")
    Closure.objects.create(day=date(2027, 3, 11), therapist=thea, reason="Training")
    days = ("2027-03-11", "2027-03-12", "2027-03-13", "2027-03-10")
    found = [names(page(client, day=day), "closed: Training", "closed: Founders", "no opening hours") for day in days]
    assert found == [["closed: Training"], ["closed: Founders"], ["no opening hours"], []]


def test_hours_of_their_own_count_before_the_clinics(signed_in: SignedIn) -> None:
    client, _ = signed_in("desk")
    thea = UserFactory()
    OpeningHours.objects.create(therapist=thea, weekday=5, opens="09:00", closes="12:00")
    found = ["no opening hours" in page(client, day=day) for day in ("2027-03-13", "2027-03-11")]
    assert found == [False, True]


def free(text: str) -> list[str]:
    """What the day offers, as it stands on the page."""
    return re.findall(r'<span class="number">([\d:–]+)</span> free', text)


def test_an_empty_day_is_free_from_end_to_end(signed_in: SignedIn) -> None:
    client, _ = signed_in("desk")
    UserFactory()
    assert free(page(client, day="2027-03-11")) == ["08:00–18:00"]


def test_between_the_visits_stands_what_is_free_and_leads_to_booking_it(signed_in: SignedIn) -> None:
    client, _ = signed_in("desk")
    visit = booked(local(3, 11, 9))
    booked(local(3, 11, 10), name="Gone Again", therapist=visit.therapist, state="cancelled")
    text = page(client, day="2027-03-11")
    assert free(text) == ["08:00–09:00", "09:30–18:00"]
    assert f"{reverse('visit_book')}?therapist={visit.therapist_id}&amp;day=2027-03-11" in text


def test_today_only_what_is_still_to_come_is_free(signed_in: SignedIn, now: datetime) -> None:
    client, _ = signed_in("desk")
    visit = booked(local(3, 10, 16))
    assert now == local(3, 10, 10)
    text = page(client)
    assert free(text) == ["10:00–16:00", "16:30–18:00"]
    assert names(text, "now 10:00", "10:00–16:00", visit.patient.full_name, "16:30–18:00") == [
        "now 10:00", "10:00–16:00", visit.patient.full_name, "16:30–18:00"
    ]  # fmt: skip


@pytest.mark.parametrize("day", ["2027-03-09", "2027-03-14"])
def test_nothing_is_free_on_a_day_past_or_closed(signed_in: SignedIn, day: str) -> None:
    client, _ = signed_in("desk")
    UserFactory()
    assert free(page(client, day=day)) == []
    assert "Nothing booked this day." in page(client, day=day)


def test_nobody_can_be_booked_with_who_has_left(signed_in: SignedIn) -> None:
    client, _ = signed_in("desk")
    booked(local(3, 11, 9), therapist=UserFactory(full_name="Gone Away", is_active=False))
    assert free(page(client, day="2027-03-11")) == []


def test_a_clinic_without_therapists_says_how_to_get_one(signed_in: SignedIn) -> None:
    client, _ = signed_in("desk")
    assert "staff_add" in page(client)


def test_somebody_who_left_keeps_a_column_while_visits_stand(signed_in: SignedIn) -> None:
    client, _ = signed_in("desk")
    booked(local(3, 10, 9), therapist=UserFactory(full_name="Gone Away", is_active=False))
    assert "Gone Away" in page(client)


@pytest.mark.parametrize("day", ["", "x", "10/03/2027", "0001-01-01", "9999-12-31", "2027-02-30"])
def test_a_day_nobody_can_mean_shows_today(signed_in: SignedIn, day: str) -> None:
    client, _ = signed_in("desk")
    assert "Wednesday, 10 March 2027" in page(client, day=day, therapist="x", view="day")


@pytest.mark.parametrize("view", ["day", "week"])
def test_thirty_visits_take_as_many_queries_as_one(signed_in: SignedIn, view: str) -> None:
    client, _ = signed_in("desk")
    counts = []
    for count in (1, 29):
        for number in range(count):
            booked(local(3, 10, 8) + timedelta(minutes=10 * number))
        with CaptureQueriesContext(connection) as caught:
            page(client, view=view)
        counts.append(len(caught))
    assert counts[0] == counts[1]
    assert counts[0] <= 15
