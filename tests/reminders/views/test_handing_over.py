"""Handing over: what to tell the patient, which messages go and why, the code, the signature."""

import base64
from collections.abc import Callable
from datetime import timedelta
from typing import Any
from urllib.parse import unquote
from xml.etree import ElementTree

import pytest
import segno
import time_machine
from django.conf import settings
from django.test import Client

from clinic.models import Event, User
from clinic.services.codes import code_image
from clinic.services.events import Actor
from reminders.services.links import link_token
from taping.models import Application
from taping.services.applications import application_end
from tests.factories import HelperFactory, MessageFactory, UserFactory, VisitFactory
from tests.factories.clinic import NOW

SignedIn = Callable[..., tuple[Client, User]]
Text = Callable[[str], str]


@pytest.fixture
def address(tape: Application) -> str:
    return f"/applications/{tape.pk}/"


def told(page: str) -> list[str]:
    """The large words of what to tell the patient, in order."""
    parts = page.split('<dd class="large-')[1:]
    return [part.partition(">")[2].partition("</dd>")[0].strip() for part in parts]


def test_the_four_things_to_tell_stand_in_large_type(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    signed_in()
    assert told(text_of(address)) == ["10:20", "11:00", "Mon 15 Mar", "the patient, at home"]


def test_a_helper_is_named_and_a_clinic_removal_shows_its_visit(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    signed_in()
    tape.removal, tape.helper = "helper", HelperFactory(patient=tape.patient, full_name="Hal Percival")
    tape.save()
    assert "Hal Percival" in told(text_of(address))[3]
    tape.removal, tape.removal_visit = "clinic", VisitFactory(patient=tape.patient, starts_at=NOW + timedelta(days=4))
    tape.save()
    assert told(text_of(address))[3] == "the clinic, Sun 14 Mar 11:00"


def test_each_message_says_when_how_in_what_state_and_why(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    signed_in("desk")
    MessageFactory(
        application=tape, kind="aftercare", state="sent", channel="sms", settled_at=NOW, reasons=["the tape is on"]
    )
    reasons = ["day 5 of the wear window", "moved from 06:40 to 08:00: quiet hours"]
    MessageFactory(application=tape, planned_for=NOW + timedelta(days=5), reasons=reasons)
    page = text_of(address)
    for words in ("handed to the network today 10:00, as text message", "will go", *reasons, "the tape is on"):
        assert words in page


def test_a_first_message_that_failed_says_why(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    signed_in()
    MessageFactory(application=tape, kind="aftercare", state="failed", why="mailbox unknown (550)")
    page = text_of(address)
    assert "not delivered" in page
    assert "mailbox unknown (550)" in page


def test_without_agreement_the_page_says_so_instead_of_a_plan(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    signed_in()
    tape.patient.consents = False
    tape.patient.save()
    assert "has not agreed to reminders" in text_of(address)


@pytest.mark.parametrize(("remover", "purpose"), [("clinic", "removal"), ("home", "follow_up")])
def test_other_times_inside_the_window_are_one_link_away(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text, remover: str, purpose: str
) -> None:
    signed_in("desk")
    Application.objects.update(removal=remover)
    days = "first=2027-03-14&amp;last=2027-03-15&amp;applied=2027-03-10"
    query = f"patient={tape.patient.pk}&amp;application={tape.pk}&amp;{days}&amp;purpose={purpose}"
    assert f'href="/visits/book/?{query}"' in text_of(address)


def test_the_code_holds_the_configured_address_and_never_the_requests_host(
    signed_in: SignedIn, tape: Application, address: str
) -> None:
    """Compared with the symbol that the library makes of the address by itself (ISO/IEC 18004)."""
    client, _ = signed_in()
    page = client.get(address, HTTP_X_FORWARDED_HOST="evil.example").content.decode()
    expected = f"{settings.PUBLIC_ADDRESS}/t/{link_token(tape)}/"
    assert code_image(expected) in page.replace("&#x27;", "'").replace("&amp;", "&")
    assert "evil.example" not in page


def test_the_code_is_a_well_formed_picture_in_black_on_white() -> None:
    kind, _, data = code_image("http://127.0.0.1:8000/t/x/").partition(",")
    assert kind.startswith("data:image/svg+xml")
    svg = base64.b64decode(data) if kind.endswith("base64") else unquote(data).encode()
    root = ElementTree.fromstring(svg)
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    size = segno.make_qr("http://127.0.0.1:8000/t/x/", error="m").symbol_size(scale=4, border=4)
    assert (root.attrib["width"], root.attrib["height"]) == (str(size[0]), str(size[1]))


def test_closing_the_address_makes_the_old_one_useless(
    signed_in: SignedIn, tape: Application, address: str, token: str
) -> None:
    client, _ = signed_in("desk")
    assert client.post(f"{address}new-link/").status_code == 302
    assert client.get(f"/t/{token}/").status_code == 404
    tape.refresh_from_db()
    assert link_token(tape) != token


def test_the_supervisor_signs_and_nobody_else_can(signed_in: SignedIn, tape: Application, address: str) -> None:
    client, user = signed_in()
    Application.objects.update(supervisor=UserFactory())
    client.post(f"{address}sign/")
    tape.refresh_from_db()
    assert tape.countersigned_at is None
    Application.objects.update(supervisor=user)
    client.post(f"{address}sign/")
    tape.refresh_from_db()
    assert tape.countersigned_at == NOW


def test_afterwards_the_page_is_the_record(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text, frozen: time_machine.Traveller
) -> None:
    signed_in()
    Application.objects.update(ended_at=NOW, ended_how="came_off", ended_by="patient", ending_note="edges lifted")
    frozen.move_to(NOW + timedelta(hours=2))
    page = text_of(address)
    assert "came off early" in page
    assert "Worn 0 days" in page
    assert "edges lifted" in page
    assert "Tell the patient" not in page


def end(tape: Application, by: User | None = None) -> None:
    """Recorded at the tests' moment, by that user or by the patient's link."""
    actor = Actor(user=by, word="" if by else "patient link")
    application_end(actor=actor, now=NOW, application=tape, how="off", ended_at=NOW, by="patient")


def still_on(client: Client, address: str, why: str = "wrong patient") -> Any:
    return client.post(f"{address}still-on/", {"why": why}, follow=True)


@pytest.mark.parametrize("role", ["desk", "therapist", "student"])
def test_an_ending_recorded_by_mistake_is_taken_back(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text, role: str
) -> None:
    client, user = signed_in(role)
    end(tape, user)
    assert "Take the ending back: the tape is still on" in text_of(address)
    page = still_on(client, address).content.decode()
    tape.refresh_from_db()
    assert (tape.ended_at, tape.reopened_why) == (None, "wrong patient")
    assert "Tell the patient" in page
    assert "<strong>An ending was taken back:</strong> wrong patient" in page


def test_a_manager_may_not_take_an_ending_back(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    client, _ = signed_in("manager")
    end(tape)
    assert "Take the ending back" not in text_of(address)
    assert still_on(client, address).status_code == 403


def test_looking_takes_nothing_back(signed_in: SignedIn, tape: Application, address: str) -> None:
    client, user = signed_in()
    end(tape, user)
    assert client.get(f"{address}still-on/", {"why": "robot"}).status_code == 405
    tape.refresh_from_db()
    assert tape.ended_at == NOW


def test_a_missing_reason_is_asked_for_beside_its_field(signed_in: SignedIn, tape: Application, address: str) -> None:
    client, user = signed_in()
    end(tape, user)
    response = still_on(client, address, " ")
    page = response.content.decode()
    tape.refresh_from_db()
    assert (response.status_code, tape.ended_at) == (422, NOW)
    assert 'aria-describedby="id_why_helptext id_why_error"' in page
    assert "Say why the ending is taken back." in page


def test_two_days_later_the_ending_stands(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text, frozen: time_machine.Traveller
) -> None:
    end(tape, tape.therapist)
    frozen.move_to(NOW + timedelta(days=2))
    client, _ = signed_in()
    assert "Take the ending back" not in text_of(address)
    response = still_on(client, address)
    assert response.status_code == 422
    assert "An ending can be taken back until the end of the day after it was recorded" in response.content.decode()


def test_who_took_it_off_is_told_apart_from_who_recorded_it(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    _, user = signed_in()
    end(tape, user)
    assert f", by the patient; recorded by <bdi>{user.full_name}</bdi>, today 10:00. Worn" in text_of(address)


def test_what_the_patient_reported_is_said_to_be_reported(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    signed_in()
    end(tape)
    assert ", reported by the patient. Worn" in text_of(address)


def test_reading_it_is_an_event(signed_in: SignedIn, tape: Application, address: str) -> None:
    client, user = signed_in("desk")
    client.get(address)
    event = Event.objects.get(verb="application.read")
    assert (event.actor, event.patient, event.subject_id) == (user, tape.patient, str(tape.pk))


def test_one_message_and_thirty_take_the_same_few_queries(
    signed_in: SignedIn, tape: Application, address: str, queries_of: Callable[[str], int]
) -> None:
    signed_in()
    MessageFactory(application=tape)
    few = queries_of(address)
    for number in range(2, 31):
        MessageFactory(application=tape, ordinal=number)
    assert queries_of(address) == few
    assert few <= 15
