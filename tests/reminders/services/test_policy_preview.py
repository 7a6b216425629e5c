"""What a change of the settings would do to planned messages: said before it is saved, and true once it is."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from clinic.models import Clinic, User
from clinic.services.clinic import clinic_change
from clinic.services.events import Actor
from reminders.models import Message
from reminders.services.policy_preview import Difference, policy_difference
from reminders.services.reconciling import reconcile
from tests.clinic.forms.test_settings import GOOD
from tests.factories import ApplicationFactory, VisitFactory
from tests.factories.clinic import NOW, PatientFactory

pytestmark = pytest.mark.django_db
SignedIn = Callable[..., tuple[Client, User]]
CHANGES: list[dict[str, Any]] = [
    {"optional_messages": ["exercise_ok", "removal_eve"]},
    {"quiet_from": "17:00", "quiet_until": "11:00"},
    {"time_zone": "America/Denver"},
    {"name": "Another Name"},
]


@pytest.fixture
def people(clinic: Clinic) -> None:
    """Two tapes put on just now, one of a patient without reminders, and a visit in some days."""
    ApplicationFactory(applied_at=NOW - timedelta(minutes=5), saved_at=NOW - timedelta(minutes=4))
    silent = PatientFactory(consents=False)
    ApplicationFactory(patient=silent, applied_at=NOW - timedelta(minutes=5), saved_at=NOW - timedelta(minutes=4))
    VisitFactory(starts_at=NOW + timedelta(days=5, hours=3), ends_at=NOW + timedelta(days=5, hours=4))


def _values(change: dict[str, Any]) -> dict[str, Any]:
    from clinic.forms.settings import ClinicForm

    form = ClinicForm({**GOOD, **change})
    assert form.is_valid(), form.errors
    return {name: form.cleaned_data[name] for name in change}


def _to_come(now: datetime) -> dict[tuple[str, str, int], Any]:
    rows = Message.objects.filter(state="planned", expires_at__gt=now)
    return {(row.subject, row.kind, row.slot): row.planned_for for row in rows}


def _told_and_happened(now: datetime, change: dict[str, Any]) -> tuple[Difference, Difference]:
    """What is said of a change, and what it does to the stored messages, of which all that were due have gone."""
    clinic, after = Clinic.objects.get(), Clinic.objects.get()
    reconcile(now)
    Message.objects.filter(planned_for__lte=now).update(state="sent", settled_at=now)
    stored, values = _to_come(now), _values(change)
    for name, value in values.items():
        setattr(after, name, value)
    told = policy_difference(before=clinic, after=after, now=now)
    clinic_change(actor=Actor(word="test"), now=now, values=values)
    reconcile(now)
    left, happened = _to_come(now), Difference()
    happened.moved = sum(1 for key in stored.keys() & left.keys() if stored[key] != left[key])
    happened.dropped, happened.added = len(stored.keys() - left.keys()), len(left.keys() - stored.keys())
    return told, happened


@pytest.mark.parametrize("change", CHANGES, ids="-".join)
def test_what_is_foretold_is_what_happens(people: None, change: dict[str, Any]) -> None:
    """The stored messages before and after the change, made by the planner itself, differ just as was said."""
    told, happened = _told_and_happened(NOW, change)
    assert told == happened
    assert bool(told.moved + told.dropped + told.added) is ("name" not in change)


def test_a_kind_that_is_due_already_and_still_of_use_is_added(clinic: Clinic) -> None:
    """At 18:30, a tape that comes off tomorrow: "tomorrow your tape comes off" was due at 18:00, until midnight."""
    ApplicationFactory(applied_at=datetime(2027, 3, 10, 15, tzinfo=UTC))
    evening = datetime(2027, 3, 14, 22, 30, tzinfo=UTC)
    told, happened = _told_and_happened(evening, {"optional_messages": ["removal_eve"]})
    assert (told, happened) == (Difference(added=1), Difference(added=1))


def test_what_shorter_quiet_hours_send_at_once_moves_and_is_not_dropped(clinic: Clinic) -> None:
    """At 07:30, messages that waited for 08:00 go at once where quiet hours end at 07:00."""
    early = datetime(2027, 3, 10, 12, 20, tzinfo=UTC)
    ApplicationFactory(applied_at=early)
    VisitFactory(created_at=early, changed_at=early, starts_at=NOW + timedelta(days=5))
    told, happened = _told_and_happened(early + timedelta(minutes=10), {"quiet_until": "07:00"})
    assert (told, happened) == (Difference(moved=2), Difference(moved=2))


def test_news_that_went_is_not_added_by_longer_quiet_hours(clinic: Clinic) -> None:
    """At 09:30, a booking said at 09:15 is not said again where quiet hours end at 10:00."""
    booked = datetime(2027, 3, 10, 14, 15, tzinfo=UTC)
    VisitFactory(created_at=booked, changed_at=booked, starts_at=NOW + timedelta(days=5, hours=3))
    told, happened = _told_and_happened(booked + timedelta(minutes=15), {"quiet_until": "10:00"})
    assert (told, happened) == (Difference(), Difference())


def test_a_message_that_went_is_not_added_by_longer_quiet_hours(clinic: Clinic) -> None:
    """At 09:30, what was said of a tape at 09:15 is not said again where quiet hours end at 10:00."""
    taped = datetime(2027, 3, 10, 14, 15, tzinfo=UTC)
    ApplicationFactory(applied_at=taped, saved_at=taped)
    told, happened = _told_and_happened(taped + timedelta(minutes=15), {"quiet_until": "10:00"})
    assert (told.added, told) == (0, happened)
    assert told.moved > 0


def test_another_zone_says_again_what_has_another_cause(clinic: Clinic) -> None:
    """The hour of taping and the end of quiet hours are said on another clock: planning sends that once more."""
    early = datetime(2027, 3, 10, 12, 20, tzinfo=UTC)
    ApplicationFactory(applied_at=early)
    told, happened = _told_and_happened(NOW, {"time_zone": "America/Halifax"})
    assert (told.added, told) == (1, happened)


def test_looking_changes_nothing(people: None) -> None:
    reconcile(NOW)
    before, after = _to_come(NOW), Clinic.objects.get()
    after.optional_messages = ["exercise_ok"]
    policy_difference(before=Clinic.objects.get(), after=after, now=NOW)
    assert (_to_come(NOW), Clinic.objects.get().optional_messages) == (before, [])


def test_the_page_says_it_before_it_saves(people: None, signed_in: SignedIn) -> None:
    with time_machine.travel(NOW, tick=False):
        manager, _ = signed_in("manager")
        page = manager.post(reverse("settings"), {**GOOD, "optional_messages": ["exercise_ok"]}).content.decode()
        none = manager.post(
            reverse("settings"), {**GOOD, "optional_messages": [], "name": "Another Name"}
        ).content.decode()
    assert "1 planned message would be added." in page
    assert "No message that is planned would go at another time, be dropped or be added." in none


def test_where_not_all_were_looked_at_it_says_so() -> None:
    assert Difference(dropped=2, moved=1, whole=False).sentences() == [
        "2 planned messages would no longer go.",
        "1 planned message would go at another time.",
        "Only the 2000 newest tapes and visits were looked at.",
    ]
