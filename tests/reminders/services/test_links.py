"""The patient's link: unguessable, never stored, revocable, and dead two weeks after the window."""

import base64
import hashlib
import hmac
from datetime import UTC, datetime, timedelta

import pytest
from pytest_django import Settings

from clinic.models import Clinic, Event
from clinic.services.events import Actor
from reminders.models import Link
from reminders.services.links import link_address, link_find, link_revoke, link_token, links_keep
from reminders.services.reconciling import reconcile
from taping.models import Application
from tests.factories import ApplicationFactory

pytestmark = pytest.mark.django_db

STAFF = Actor(word="test")


@pytest.fixture
def application(clinic: Clinic, now: datetime) -> Application:
    made: Application = ApplicationFactory()
    reconcile(now)
    made.refresh_from_db()
    return made


def test_the_token_is_the_hmac_of_what_it_stands_for(application: Application, settings: Settings) -> None:
    """RFC 2104 with SHA-256, written as base64url without padding (RFC 4648, 5)."""
    words = f"{application.pk}:1:tape".encode()
    digest = hmac.digest(settings.LINK_KEY.encode(), words, "sha256")
    assert base64.urlsafe_b64decode(link_token(application) + "=") == digest
    assert len(link_token(application)) == 43


def test_the_database_holds_only_its_hash(application: Application) -> None:
    token = link_token(application)
    row = Link.objects.get(purpose="tape")
    assert row.token_sha256 == hashlib.sha256(token.encode()).hexdigest()
    assert token not in str(Link.objects.values())


def test_the_address_is_the_configured_one(application: Application, settings: Settings) -> None:
    settings.PUBLIC_ADDRESS = "https://tape.example.org"
    assert link_address(application) == f"https://tape.example.org/t/{link_token(application)}/"
    assert link_address(application, "stop") == f"https://tape.example.org/u/{link_token(application, 'stop')}/"


def test_it_is_found_for_its_own_purpose_only(application: Application, now: datetime) -> None:
    token = link_token(application)
    found = link_find(token=token, purpose="tape", now=now)
    assert found is not None
    assert found.application == application
    assert link_find(token=token, purpose="stop", now=now) is None


@pytest.mark.parametrize("token", ["", "x", "A" * 43, "é" * 43, "../../etc", "A" * 5000])
def test_a_guess_finds_nothing(application: Application, now: datetime, token: str) -> None:
    assert link_find(token=token, purpose="tape", now=now) is None


def test_another_key_makes_another_token(application: Application, settings: Settings, now: datetime) -> None:
    token = link_token(application)
    settings.LINK_KEY = "another key that is long enough to be one 0123456789"
    assert link_token(application) != token
    assert link_find(token=token, purpose="tape", now=now) is None


def test_it_ends_two_weeks_after_the_window_s_last_day(application: Application) -> None:
    """The window closes on 15 March; midnight after it is 04:00 UTC in New York's summer time."""
    end = datetime(2027, 3, 30, 4, tzinfo=UTC)
    token = link_token(application)
    assert link_find(token=token, purpose="tape", now=end - timedelta(seconds=1)) is not None
    assert link_find(token=token, purpose="tape", now=end) is None


def test_a_shortened_window_brings_the_end_forward(application: Application, clinic: Clinic) -> None:
    application.closes_on -= timedelta(days=1)
    links_keep(application=application, zone=clinic.zone)
    assert set(Link.objects.values_list("expires_at", flat=True)) == {datetime(2027, 3, 29, 4, tzinfo=UTC)}


def test_keeping_links_twice_makes_no_second_row(application: Application, clinic: Clinic) -> None:
    links_keep(application=application, zone=clinic.zone)
    assert sorted(Link.objects.values_list("purpose", flat=True)) == ["stop", "tape"]


def test_a_revoked_link_is_dead_and_the_next_one_lives(application: Application, now: datetime) -> None:
    old = link_token(application)
    link_revoke(actor=STAFF, now=now, application=application)
    reconcile(now)
    assert link_find(token=old, purpose="tape", now=now) is None
    assert link_find(token=link_token(application), purpose="tape", now=now) is not None
    assert Event.objects.filter(verb="link.revoked").count() == 1


def test_two_tapes_have_two_links(application: Application) -> None:
    assert link_token(application) != link_token(ApplicationFactory())
