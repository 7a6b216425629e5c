"""The file for a calendar, by the patient's link and for staff."""

from collections.abc import Callable
from datetime import date, timedelta

import pytest
import vobject
from django.test import Client

from clinic.models import Event, User
from reminders.models import Message
from taping.models import Application
from tests.factories.clinic import NOW

SignedIn = Callable[..., tuple[Client, User]]


def test_the_link_page_offers_it_and_it_reads_back(client: Client, token: str, tape: Application) -> None:
    address = f"/t/{token}/calendar.ics"
    assert f'href="{address}" download' in client.get(f"/t/{token}/").content.decode()
    response = client.get(address)
    assert response.headers["Content-Type"] == "text/calendar; charset=utf-8; method=PUBLISH"
    assert response.headers["Content-Disposition"] == 'attachment; filename="tape-2027-03-15.ics"'
    assert response.headers["Cache-Control"] == "no-store, private"
    assert vobject.readOne(response.content.decode()).vevent.dtstart.value == date(2027, 3, 15)
    text = response.content.decode().replace("\r\n ", "")
    secrets = ("Quillfeather", "Ada", "1985", tape.patient.email, tape.patient.phone, "knee", token)
    assert [secret for secret in secrets if secret in text] == []


def test_off_tape_is_offered_no_entry_and_an_old_address_cancels_it(
    client: Client, token: str, tape: Application
) -> None:
    Application.objects.update(ended_at=NOW, ended_how="off")
    assert "calendar.ics" not in client.get(f"/t/{token}/").content.decode()
    calendar = vobject.readOne(client.get(f"/t/{token}/calendar.ics").content.decode())
    assert (calendar.method.value, calendar.vevent.status.value) == ("CANCEL", "CANCELLED")


@pytest.mark.parametrize("method", ["get", "head"])
def test_getting_it_changes_nothing(client: Client, token: str, tape: Application, method: str) -> None:
    before = (Application.objects.values().get(), Event.objects.count(), Message.objects.count())
    assert getattr(client, method)(f"/t/{token}/calendar.ics").status_code == 200
    assert (Application.objects.values().get(), Event.objects.count(), Message.objects.count()) == before


def test_unknown_and_late_links_get_the_one_page(client: Client, token: str, frozen: object) -> None:
    unknown = client.get("/t/nobodys-link/calendar.ics")
    Application.objects.update(link_generation=2)
    revoked = client.get(f"/t/{token}/calendar.ics")
    assert (unknown.status_code, revoked.status_code) == (404, 404)
    assert unknown.content == revoked.content


def test_nothing_else_than_a_get_works(client: Client, token: str) -> None:
    assert client.post(f"/t/{token}/calendar.ics").status_code == 405


def test_staff_hand_it_on_and_that_is_on_record(signed_in: SignedIn, tape: Application) -> None:
    client, user = signed_in("desk")
    address = f"/applications/{tape.pk}/removal.ics"
    assert f'href="{address}"' in client.get(f"/applications/{tape.pk}/").content.decode()
    tape.removal_day -= timedelta(days=1)
    tape.save()
    assert vobject.readOne(client.get(address).content.decode()).vevent.dtstart.value == date(2027, 3, 14)
    event = Event.objects.first()
    assert event is not None
    assert (event.verb, event.actor, event.patient) == ("patient.read", user, tape.patient)
