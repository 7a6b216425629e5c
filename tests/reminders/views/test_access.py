"""Who may open which of these pages; a page nobody listed here fails."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from clinic.models import User
from reminders import urls
from reminders.models import BatchSheet, CallItem, Message, SheetBatch
from taping.models import Application, SkinReport
from tests.factories import CallItemFactory, MessageFactory, ScreenFactory, UserFactory
from tests.factories.clinic import NOW

SignedIn = Callable[..., tuple[Client, User]]

STAFF = {"desk", "therapist", "student", "manager"}
TAPERS = {"therapist", "student"}
PUBLIC = {"link_page", "link_answer", "link_paper", "link_calendar", "stop_page", "hook", "health", "health_ready"}

GETS: dict[str, set[str]] = {
    "today": STAFF,
    "today_live": STAFF,
    "first_steps": {"manager"},
    "call_work": STAFF,
    "report_page": TAPERS,
    "patient_page": STAFF,
    "application_page": STAFF,
    "application_calendar": STAFF,
    "sheets": STAFF,
    "sheet_batch": STAFF,
    "day_paper": STAFF,
    "sheet_batch_paper": STAFF,
    "sheet_aftercare": STAFF,
    "application_first_message": STAFF,
    "sheet_record": {"therapist"},
    "sheet_hold": TAPERS,
    "sheet_plan": TAPERS,
    "patient_erase": {"manager"},
    "keeping": {"manager"},
    "messages": STAFF,
    "message_texts": STAFF,
    "languages": {"manager"},
    "texts": {"manager"},
    "text_edit": {"manager"},
}
POSTS: dict[str, set[str]] = {
    "sheets": STAFF,
    "sheet_batch": STAFF,
    "patient_erase": {"manager"},
    "patient_erase_call": {"manager"},
    "patient_export": {"therapist"},
    "keeping": {"manager"},
    "call_work": STAFF,
    "report_page": TAPERS,
    "link_revoke": STAFF,
    "application_hand_over": TAPERS,
    "remover_reasons": TAPERS,
    "application_visit": STAFF,
    "application_sign": {"therapist"},
    "application_still_on": STAFF - {"manager"},
    "message_again": STAFF,
    "language_approved": {"manager"},
    "language_off": {"manager"},
    "language_own": {"manager"},
    "text_edit": {"manager"},
    "text_preview": {"manager"},
}
WITHOUT_KEY = {
    "today", "today_live", "messages", "message_texts", "sheets", "day_paper", "first_steps", "languages",
    "keeping",
    "language_approved", "language_off", "language_own", "texts",
}  # fmt: skip
MISSING = 999_999
OF_WORDS = ("text_edit", "text_preview")
"""Addresses of a language and a message, not of a row."""


@pytest.fixture
def keys(tape: Application) -> dict[str, int]:
    """The key each address needs, of rows that exist."""
    report = SkinReport.objects.create(
        patient=tape.patient, application=tape, reported_at=NOW, reported_by="patient", signs=[], urgency="today"
    )
    item: CallItem = CallItemFactory(application=tape, report=report, reason="skin_report")
    message: Message = MessageFactory(application=tape)
    batch = SheetBatch.objects.create(kind="aftercare", day=NOW.date(), made_by=tape.therapist, made_at=NOW)
    BatchSheet.objects.create(batch=batch, application=tape, position=1, state="made")
    return {
        "call_work": item.pk,
        "report_page": report.pk,
        "patient_page": tape.patient.pk,
        "patient_erase": tape.patient.pk,
        "patient_erase_call": tape.patient.pk,
        "patient_export": tape.patient.pk,
        "application_page": tape.pk,
        "application_calendar": tape.pk,
        "sheet_batch": batch.pk,
        "sheet_batch_paper": batch.pk,
        "sheet_aftercare": tape.pk,
        "sheet_record": tape.pk,
        "sheet_hold": ScreenFactory(patient=tape.patient, outcome="do_not_tape").pk,
        "sheet_plan": tape.plan_id,
        "link_revoke": tape.pk,
        "application_sign": tape.pk,
        "application_still_on": tape.pk,
        "application_hand_over": tape.pk,
        "remover_reasons": tape.pk,
        "application_visit": tape.pk,
        "application_first_message": tape.pk,
        "message_again": message.pk,
        **dict.fromkeys(OF_WORDS, 1),
    }


def address(name: str, keys: dict[str, int]) -> str:
    if name in OF_WORDS:
        return reverse(name, args=["en", "aftercare" if keys[name] != MISSING else "nobodys"])
    return reverse(name, args=[keys[name]] if name in keys else [])


def test_every_address_is_listed_here() -> None:
    assert {pattern.name for pattern in urls.urlpatterns} == set(GETS) | set(POSTS) | PUBLIC


@pytest.mark.parametrize("role", sorted(STAFF))
def test_each_role_opens_its_pages_and_no_other(role: str, signed_in: SignedIn, keys: dict[str, int]) -> None:
    client, _ = signed_in(role)
    expected = {name: 200 if role in roles else 403 for name, roles in GETS.items()}
    headers = {"HX-Request": "true"}  # some answer nobody else
    assert {name: client.get(address(name, keys), headers=headers).status_code for name in GETS} == expected


@pytest.mark.parametrize("role", sorted(STAFF))
def test_each_role_changes_what_it_may_and_no_more(role: str, signed_in: SignedIn, keys: dict[str, int]) -> None:
    client, _ = signed_in(role)
    refused = {name for name in POSTS if client.post(address(name, keys)).status_code == 403}
    assert refused == {name for name, roles in POSTS.items() if role not in roles}


@pytest.mark.parametrize("name", sorted(set(GETS) | set(POSTS)))
@pytest.mark.parametrize("method", ["get", "post", "delete"])
def test_a_stranger_is_sent_to_the_log_in(client: Client, keys: dict[str, int], name: str, method: str) -> None:
    response = getattr(client, method)(address(name, keys))
    assert response.status_code == 302
    assert response.headers["Location"].startswith("/log-in/")


@pytest.mark.parametrize("name", sorted(set(GETS) | set(POSTS)))
def test_a_patients_link_opens_no_staff_page(client: Client, keys: dict[str, int], token: str, name: str) -> None:
    client.get(f"/t/{token}/")
    assert client.get(address(name, keys)).status_code == 302


@pytest.mark.parametrize("name", sorted((set(GETS) | set(POSTS)) - WITHOUT_KEY))
def test_what_is_missing_is_not_found(signed_in: SignedIn, keys: dict[str, int], name: str) -> None:
    client, _ = signed_in("therapist" if "therapist" in (GETS | POSTS)[name] else "manager")
    missing = dict.fromkeys(keys, MISSING)
    send = client.get if name in GETS else client.post
    assert send(address(name, missing)).status_code == 404


@pytest.mark.parametrize("name", ["link_revoke", "application_sign", "application_still_on", "message_again"])
def test_a_get_never_acts(signed_in: SignedIn, keys: dict[str, int], name: str) -> None:
    client, _ = signed_in("therapist")
    assert client.get(address(name, keys)).status_code == 405


def test_somebody_who_was_switched_off_is_out_at_once(signed_in: SignedIn) -> None:
    client, user = signed_in("therapist")
    User.objects.filter(pk=user.pk).update(is_active=False)
    assert client.get("/").status_code == 302


def test_a_user_without_a_role_sees_nothing(client: Client, tape: Application) -> None:
    nobody = UserFactory(is_therapist=False)
    client.force_login(nobody, backend="django.contrib.auth.backends.ModelBackend")
    assert client.get("/").status_code == 403
