"""A therapist's own hours and time off, and the holidays a manager is offered."""

from collections.abc import Callable
from datetime import date, timedelta

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from clinic.models import Clinic, Closure, OpeningHours, User
from clinic.selectors import hours_of
from tests.factories.clinic import NOW, UserFactory, VisitFactory

SignedIn = Callable[..., tuple[Client, User]]


@pytest.fixture(autouse=True)
def _now() -> object:
    with time_machine.travel(NOW, tick=False):
        yield


def days(**spans: str) -> dict[str, str]:
    return {f"day{number}": "" for number in range(7)} | spans


def test_hours_of_their_own_replace_the_clinic_s_and_can_be_given_back(signed_in: SignedIn) -> None:
    client, _ = signed_in("manager")
    therapist, other = UserFactory(), UserFactory()
    address = reverse("therapist_hours", args=[therapist.pk])
    client.post(address, days(day1="09:00-12:00"))
    assert list(hours_of(therapist)) == [1]
    assert list(hours_of(other)) == [0, 1, 2, 3, 4]
    assert client.get(address).context["hours"]["day1"].value() == "09:00-12:00"
    client.post(address, days())
    assert list(hours_of(therapist)) == [0, 1, 2, 3, 4]
    assert not OpeningHours.objects.filter(therapist=therapist).exists()


def test_the_clinic_s_hours_stay_when_a_therapist_s_change(signed_in: SignedIn, clinic: Clinic) -> None:
    client, _ = signed_in("manager")
    before = clinic.plan_version
    client.post(reverse("therapist_hours", args=[UserFactory().pk]), days(day1="09:00-12:00"))
    clinic.refresh_from_db()
    assert (list(hours_of(None)), clinic.plan_version) == ([0, 1, 2, 3, 4], before)


def test_own_hours_that_somebody_else_saved_meanwhile_are_not_overwritten_unseen(signed_in: SignedIn) -> None:
    client, _ = signed_in("manager")
    therapist = UserFactory()
    address = reverse("therapist_hours", args=[therapist.pk])
    opened = client.get(address).context["hours"]["seal"].value()
    client.post(address, days(day1="09:00-12:00"))
    answer = client.post(address, days(day2="10:00-11:00") | {"seal": opened})
    page = answer.content.decode()
    assert (answer.status_code, list(hours_of(therapist))) == (409, [1])
    stored, wrote = '<td data-name="Stored now">', '<td data-name="You wrote">'
    assert f'<th scope="row">Tuesday</th>{stored}09:00-12:00</td>{wrote}closed</td>' in page
    assert f'<th scope="row">Wednesday</th>{stored}closed</td>{wrote}10:00-11:00</td>' in page
    client.post(address, days(day2="10:00-11:00") | {"seal": answer.context["hours"]["seal"].value()})
    assert list(hours_of(therapist)) == [2]


def test_unreadable_hours_are_said_and_kept(signed_in: SignedIn) -> None:
    client, _ = signed_in("manager")
    answer = client.post(reverse("therapist_hours", args=[UserFactory().pk]), days(day1="nine to noon"))
    assert (answer.status_code, answer.context["hours"]["day1"].value()) == (422, "nine to noon")
    assert "Tuesday: write spans such as" in answer.content.decode()


def test_time_off_closes_the_diary_of_one_therapist(signed_in: SignedIn) -> None:
    client, _ = signed_in("manager")
    visit = VisitFactory(starts_at=NOW + timedelta(days=1))
    off = {"day": "2027-03-11", "last": "2027-03-13", "reason": "Course"}
    answer = client.post(reverse("therapist_away", args=[visit.therapist_id]), off, follow=True)
    assert f"{visit.therapist.full_name} is away on 3 days." in answer.content.decode()
    assert answer.context["booked"] == [visit]
    away = list(Closure.objects.filter(therapist=visit.therapist).values_list("day", flat=True))
    assert away == [date(2027, 3, 11), date(2027, 3, 12), date(2027, 3, 13)]
    booking = reverse("visit_book") + f"?patient={visit.patient_id}&therapist={visit.therapist_id}&day=2027-03-12"
    assert "Course" in client.get(booking).content.decode()
    client.post(reverse("therapist_back", args=[Closure.objects.earliest("day").pk]))
    assert Closure.objects.count() == 2


@pytest.mark.parametrize(
    ("day", "last", "words"),
    [
        ("2027-03-09", "", "That day is past"),
        ("2027-03-20", "2027-03-12", "The last day lies before the first"),
        ("2027-03-20", "2029-03-12", "At most 366 days at once"),
        ("soon", "", "Choose the day"),
        ("2027-03-20", "later", "or leave it empty"),
    ],
)
def test_impossible_absences_are_said(signed_in: SignedIn, day: str, last: str, words: str) -> None:
    client, _ = signed_in("manager")
    answer = client.post(reverse("therapist_away", args=[UserFactory().pk]), {"day": day, "last": last})
    assert (answer.status_code, words in answer.content.decode()) == (422, True)
    assert not Closure.objects.exists()


def test_only_a_therapist_has_hours(signed_in: SignedIn) -> None:
    client, user = signed_in("manager")
    assert client.get(reverse("therapist_hours", args=[user.pk])).status_code == 404


def test_ticked_holidays_are_closed_and_no_others(signed_in: SignedIn) -> None:
    client, _ = signed_in("manager")
    ticked = ["2027-12-25", "2027-05-31", "2027-03-12", "soon"]
    answer = client.post(reverse("settings_holidays"), {"day": ticked}, follow=True)
    assert "2 days are marked as closed" in answer.content.decode()
    assert {(one.day, one.reason) for one in Closure.objects.all()} == {
        (date(2027, 12, 25), "Christmas Day"),
        (date(2027, 5, 31), "Memorial Day"),
    }
    answer = client.post(reverse("settings_holidays"), {}, follow=True)
    assert "Nothing was changed" in answer.content.decode()
