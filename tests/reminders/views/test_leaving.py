"""Nobody leaves with tape on without a way to be reached, a helper or a booked removal."""

from collections.abc import Callable
from datetime import datetime
from typing import Any

import pytest
from django.test import Client

from clinic.models import Patient, User
from reminders.models import CallItem
from reminders.services.call_tick import call_list_tick
from taping.models import Application
from tests.factories import HelperFactory, VisitFactory
from tests.factories.clinic import NOW
from tests.reminders.views.test_hand_over import all_no, send
from tests.taping.services.test_handing_over import OF_SCREEN

SignedIn = Callable[..., tuple[Client, User]]
TEN_MONDAY = datetime.fromisoformat("2027-03-15T10:00:00-04:00")


@pytest.fixture
def worn(tape: Application) -> Application:
    """Tape on somebody with neither number nor address, who agreed to nothing; who takes it off still open."""
    Patient.objects.update(phone="", email="", consents=False)
    Application.objects.update(removal="clinic", remover_open=True)
    tape.plan.screen.answers = dict(OF_SCREEN)
    tape.plan.screen.save()
    tape.refresh_from_db()
    return tape


@pytest.fixture
def address(worn: Application) -> str:
    return f"/applications/{worn.pk}/"


def handed_over(tape: Application) -> bool:
    tape.refresh_from_db()
    return tape.handed_over_at is not None


def test_finishing_is_refused_with_what_would_put_it_right(
    signed_in: SignedIn, worn: Application, address: str
) -> None:
    client, _ = signed_in()
    answer = send(client, address, **all_no())
    page = answer.content.decode()
    assert (answer.status_code, handed_over(worn), CallItem.objects.count()) == (422, False, 0)
    assert "Nobody could tell this patient that the tape has to come off." in page
    assert f'href="/patients/{worn.patient_id}/change/?next={address}"' in page
    assert f'href="/patients/{worn.patient_id}/helpers/add/?next={address}"' in page
    assert "purpose=removal" in page


def a_number(tape: Application) -> dict[str, Any]:
    Patient.objects.update(phone="+12125550133")
    return {}


def a_helper(tape: Application) -> dict[str, Any]:
    helper = HelperFactory(patient=tape.patient, phone="")
    return {"removal": "helper", "helper": str(helper.pk), "helper_ready": "yes"}


def a_visit(tape: Application) -> dict[str, Any]:
    visit = VisitFactory(patient=tape.patient, purpose="removal", starts_at=TEN_MONDAY)
    Application.objects.update(removal_visit=visit)
    return {"removal": "clinic"}


@pytest.mark.parametrize("way", [a_number, a_helper, a_visit])
def test_any_way_lets_them_go(
    signed_in: SignedIn, worn: Application, address: str, way: Callable[[Application], dict[str, Any]]
) -> None:
    client, _ = signed_in()
    answer = send(client, address, **all_no(**way(worn)))
    assert (answer.status_code, handed_over(worn), CallItem.objects.count()) == (302, True, 0)


def test_who_leaves_all_the_same_is_on_the_call_list_at_once_with_the_reason(
    signed_in: SignedIn, worn: Application, address: str
) -> None:
    client, _ = signed_in()
    for _ in range(2):
        answer = send(client, address, **all_no(left_why="lives on a boat, comes by on Monday"))
    item = CallItem.objects.get()
    assert (answer.status_code, handed_over(worn)) == (302, True)
    assert (item.reason, item.since, item.application) == ("unreachable", NOW, worn)
    assert item.note == "Went home with tape on, cannot be reached: lives on a boat, comes by on Monday"
    assert call_list_tick(NOW) == 0
    assert CallItem.objects.get().closed_at is None


def test_the_reason_is_not_asked_where_they_can_be_reached(
    signed_in: SignedIn, worn: Application, address: str
) -> None:
    client, _ = signed_in()
    asked = 'name="left_why"'
    assert asked in client.get(address).content.decode()
    Patient.objects.update(phone="+12125550133")
    assert asked not in client.get(address).content.decode()


def test_settling_who_takes_it_off_asks_for_no_number_yet(signed_in: SignedIn, worn: Application, address: str) -> None:
    client, _ = signed_in()
    assert send(client, address, do="settle", **all_no()).status_code == 302
    assert not handed_over(worn)


def test_writing_the_number_down_leads_back_to_the_handing_over(
    signed_in: SignedIn, worn: Application, address: str
) -> None:
    client, _ = signed_in()
    form = client.get(f"/patients/{worn.patient_id}/change/?next={address}").context["form"]
    typed = {name: form[name].value() or "" for name in form.fields} | {"consents": "no", "phone": "212 555 0133"}
    answer = client.post(f"/patients/{worn.patient_id}/change/?next={address}", typed)
    assert answer.headers["Location"] == address
    helper = {"full_name": "Hal Per", "relation": "helper", "prefers": "sms", "language": "en"}
    answer = client.post(f"/patients/{worn.patient_id}/helpers/add/?next=https://example.org/", helper)
    assert answer.headers["Location"] == f"/patients/{worn.patient_id}/"
