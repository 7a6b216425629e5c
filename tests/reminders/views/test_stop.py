"""Stopping messages: by the page, and by a mail program's one click (RFC 8058)."""

from datetime import timedelta

import pytest
import time_machine
from django.test import Client
from pytest_django import Settings

from clinic.models import Clinic, Patient, Visit
from reminders.models import CallItem, Message, StopLink
from reminders.services.call_tick import call_list_tick
from reminders.services.links import link_token
from reminders.services.stop_links import stop_link_keep, stop_token
from taping.models import Application
from tests.factories import PatientFactory, VisitFactory
from tests.factories.clinic import NOW

ONE_CLICK = b"List-Unsubscribe=One-Click"


@pytest.fixture
def address(tape: Application) -> str:
    return f"/u/{link_token(tape, 'stop')}/"


def one_click(address: str) -> int:
    """RFC 8058, 3.1 and its example in 8.2: a post with this body of 26 letters, without cookies."""
    assert len(ONE_CLICK) == 26
    client = Client(enforce_csrf_checks=True)
    answer = client.post(address, ONE_CLICK, content_type="application/x-www-form-urlencoded")
    return answer.status_code


def consents(tape: Application) -> bool:
    tape.patient.refresh_from_db()
    return tape.patient.consents


def test_opening_the_address_stops_nothing_and_shows_a_button(client: Client, tape: Application, address: str) -> None:
    for _ in range(5):
        page = client.get(address).content.decode()
        client.head(address)
    assert consents(tape)
    assert "Stop all messages" in page
    assert "It comes off on Monday, 15 March. You take it off at home." in page


def test_one_click_without_cookies_stops_the_messages(tape: Application, address: str) -> None:
    assert one_click(address) == 200
    assert not consents(tape)


def test_the_button_stops_them_and_the_page_says_so(client: Client, tape: Application, address: str) -> None:
    page = client.post(address, {"List-Unsubscribe": "One-Click"}).content.decode()
    assert not consents(tape)
    assert "No more messages." in page
    assert "You still wear tape. It comes off on Monday, 15 March." in page


def test_stopping_twice_answers_once(tape: Application, address: str) -> None:
    assert [one_click(address), one_click(address)] == [200, 200]
    assert Message.objects.filter(kind="stop_confirmed").count() == 1


@pytest.mark.parametrize("body", [{}, {"List-Unsubscribe": "Two-Click"}, {"off": "yes"}])
def test_any_other_post_shows_the_button_and_stops_nothing(
    client: Client, tape: Application, address: str, body: dict[str, str]
) -> None:
    assert "Stop all messages?" in client.post(address, body).content.decode()
    assert consents(tape)


def test_who_stopped_with_tape_on_is_on_the_call_list(tape: Application, address: str) -> None:
    one_click(address)
    call_list_tick(NOW)
    assert [(item.reason, item.application) for item in CallItem.objects.all()] == [("unreachable", tape)]


def test_the_other_link_does_not_stop_and_this_one_does_not_end(client: Client, tape: Application, token: str) -> None:
    stop = link_token(tape, "stop")
    assert client.post(f"/u/{token}/", {"List-Unsubscribe": "One-Click"}).status_code == 404
    assert client.post(f"/t/{stop}/off/").status_code == 404
    tape.refresh_from_db()
    assert (consents(tape), tape.ended_at) == (True, None)


def test_an_unknown_address_gets_the_same_page_as_any_unknown_link(client: Client, clinic: Clinic) -> None:
    assert client.get("/u/nothing/").content == client.get("/t/nothing/").content


def test_the_page_shows_no_surname(client: Client, address: str) -> None:
    assert "Quillfeather" not in client.get(address).content.decode()


class TestFromAMailAboutAVisit:
    @pytest.fixture
    def visit(self, clinic: Clinic) -> Visit:
        made: Visit = VisitFactory(patient=PatientFactory(full_name="Ada Quillfeather", phone="+12125550123"))
        stop_link_keep(visit=made)
        return made

    @pytest.fixture
    def address(self, visit: Visit) -> str:
        return f"/u/{stop_token(visit)}/"

    def test_the_page_speaks_of_no_tape_and_stops_nothing(self, client: Client, visit: Visit, address: str) -> None:
        page = client.get(address).content.decode()
        assert "Stop all messages?" in page
        assert "It comes off" not in page
        assert "Quillfeather" not in page
        assert Patient.objects.get(pk=visit.patient_id).consents

    def test_one_click_stops_everybody_at_the_mailbox(self, visit: Visit, address: str) -> None:
        other = PatientFactory(email=visit.patient.email)
        assert one_click(address) == 200
        consents = Patient.objects.filter(pk__in=[visit.patient_id, other.pk]).values_list("consents", flat=True)
        assert list(consents) == [False, False]

    def test_it_works_for_thirty_days_after_the_visit(
        self, client: Client, visit: Visit, address: str, frozen: time_machine.Traveller
    ) -> None:
        frozen.move_to(visit.ends_at + timedelta(days=30) - timedelta(seconds=1))
        assert client.get(address).status_code == 200
        frozen.move_to(visit.ends_at + timedelta(days=30))
        assert client.get(address).status_code == 404

    def test_a_visit_that_was_moved_takes_its_link_along(self, client: Client, visit: Visit, address: str) -> None:
        visit.ends_at += timedelta(days=10)
        stop_link_keep(visit=visit)
        assert StopLink.objects.get().expires_at == visit.ends_at + timedelta(days=30)
        assert client.get(address).status_code == 200

    def test_the_token_stands_nowhere(self, visit: Visit) -> None:
        link = StopLink.objects.get()
        assert stop_token(visit) not in (link.token_sha256, str(visit.pk))
        assert len(stop_token(visit)) == 43

    def test_a_changed_key_makes_it_useless(self, client: Client, address: str, settings: Settings) -> None:
        settings.LINK_KEY = "another key that nobody knows, long enough to be one"
        assert client.get(address).status_code == 404
