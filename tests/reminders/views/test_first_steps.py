"""The page that leads a new clinic through what is required, and Today's word about it."""

import re
from collections.abc import Callable
from datetime import UTC, datetime

import pytest
import time_machine
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from clinic.models import Clinic, OpeningHours, User
from tests.factories import UserFactory

pytestmark = pytest.mark.django_db
SignedIn = Callable[..., tuple[Client, User]]


def test_today_tells_the_manager_and_nobody_else(signed_in: SignedIn) -> None:
    client, _ = signed_in("manager")
    UserFactory()
    assert "not set up yet" not in client.get("/").content.decode()
    OpeningHours.objects.all().delete()
    Clinic.objects.update(emergency_number="")
    page = client.get("/").content.decode()
    assert "2 required settings" in page
    assert reverse("first_steps") in page
    desk = Client()
    desk.force_login(UserFactory(desk=True), backend="django.contrib.auth.backends.ModelBackend")
    assert "not set up yet" not in desk.get("/").content.decode()


def test_each_step_leads_to_where_it_is_done(signed_in: SignedIn) -> None:
    client, _ = signed_in("manager")
    Clinic.objects.update(telephone="")
    page = client.get(reverse("first_steps")).content.decode()
    assert "2 of 6 required settings are missing" in re.sub(r"\s+", " ", page)
    for address in re.findall(r'href="(/settings/[^"#]*)(?:#([\w-]+))?"', page):
        target = client.get(address[0])
        assert target.status_code == 200
        assert not address[1] or f'id="{address[1]}"' in target.content.decode()


def test_a_way_out_that_is_a_folder_is_said(signed_in: SignedIn) -> None:
    client, _ = signed_in("manager")
    assert "EMAIL_URL" in client.get(reverse("first_steps")).content.decode()


def test_it_asks_little(signed_in: SignedIn, django_assert_num_queries: DjangoAssertNumQueries) -> None:
    client, _ = signed_in("manager")
    client.get(reverse("first_steps"))
    with django_assert_num_queries(5):
        client.get(reverse("first_steps"))


def test_the_page_says_what_the_clock_at_the_clinic_is_taken_to_be(signed_in: SignedIn) -> None:
    with time_machine.travel(datetime(2027, 3, 10, 15, 4, tzinfo=UTC), tick=False):
        client, _ = signed_in("manager")
        Clinic.objects.update(time_zone="Asia/Tokyo", country="JP")
        page = " ".join(client.get(reverse("first_steps")).content.decode().split())
    assert "Is it Thursday, 00:04 at your clinic?" in page
    assert "Asia/Tokyo and its country to be JP" in page


@pytest.mark.parametrize("begun", [True, False])
def test_the_log_in_page_of_a_clinic_just_begun_says_how_the_first_log_in_is_made(client: Client, begun: bool) -> None:
    if not begun:
        UserFactory()
    page = client.get(reverse("log_in")).content.decode()
    assert ("manage.py staff_add" in page, "Ask the manager" in page) == (begun, not begun)
