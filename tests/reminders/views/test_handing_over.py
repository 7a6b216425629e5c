"""Handing over: what to tell the patient, which messages go and why, the code, the signature."""

import base64
from collections.abc import Callable
from datetime import timedelta
from urllib.parse import unquote
from xml.etree import ElementTree

import pytest
import segno
import time_machine
from django.conf import settings
from django.test import Client

from clinic.models import Event, User
from reminders.services.links import link_token
from reminders.views.handing_over import code_image
from taping.models import Application
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


def test_a_visit_is_offered_inside_the_window(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    signed_in("desk")
    days = "first=2027-03-14&amp;last=2027-03-15&amp;applied=2027-03-10"
    query = f"patient={tape.patient.pk}&amp;application={tape.pk}&amp;{days}&amp;purpose=removal"
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
