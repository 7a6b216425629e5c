"""Helpers and guardians."""

from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse

from clinic.models import Event, Helper, Patient, User
from clinic.services.events import Actor
from clinic.services.patients import helper_change
from tests.factories.clinic import NOW, HelperFactory, PatientFactory, UserFactory

SignedIn = Callable[..., tuple[Client, User]]


@pytest.fixture
def desk(signed_in: SignedIn) -> Client:
    return signed_in("desk")[0]


def typed(**changed: Any) -> dict[str, Any]:
    form = {
        "relation": "guardian", "full_name": "Mum Quill", "call_me": "Mum", "phone": "212 555 0177", "email": "",
        "prefers": "sms", "language": "en", "gets_messages": "on", "version": "1", "once": str(uuid4()),
    }  # fmt: skip
    return {**form, **changed}


def test_a_guardian_gets_the_messages_from_now_on(desk: Client) -> None:
    patient = PatientFactory()
    answer = desk.post(reverse("helper_add", args=[patient.pk]), typed())
    helper = patient.helpers.get()
    assert answer.headers["Location"] == reverse("patient_page", args=[patient.pk])
    assert (helper.relation, helper.phone, helper.gets_messages) == ("guardian", "+12125550177", True)
    assert Patient.objects.get().plan_version == patient.plan_version + 1


def test_the_same_form_sent_twice_makes_one_helper(desk: Client) -> None:
    patient, form = PatientFactory(), typed()
    for _ in range(2):
        desk.post(reverse("helper_add", args=[patient.pk]), form)
    assert patient.helpers.count() == 1


def test_only_the_newest_choice_gets_the_messages(desk: Client) -> None:
    first = HelperFactory(gets_messages=True)
    desk.post(reverse("helper_add", args=[first.patient_id]), typed())
    assert list(first.patient.helpers.filter(gets_messages=True).values_list("full_name", flat=True)) == ["Mum Quill"]


def test_the_link_from_a_minor_has_guardian_chosen(desk: Client) -> None:
    page = desk.get(f"{reverse('helper_add', args=[PatientFactory().pk])}?relation=guardian")
    assert page.context["form"]["relation"].value() == "guardian"


def test_a_helper_who_cannot_be_reached_is_refused(desk: Client) -> None:
    answer = desk.post(reverse("helper_add", args=[PatientFactory().pk]), typed(phone=""))
    assert (answer.status_code, Helper.objects.count()) == (422, 0)
    assert "Mum Quill" in answer.content.decode()


def test_a_change_keeps_to_its_helper(desk: Client) -> None:
    helper = HelperFactory()
    assert desk.get(reverse("helper_change", args=[helper.pk])).status_code == 200
    desk.post(reverse("helper_change", args=[helper.pk]), typed(takes_tape_off="on"))
    helper.refresh_from_db()
    assert (helper.full_name, helper.takes_tape_off, Helper.objects.count()) == ("Mum Quill", True, 1)


def test_a_wrong_change_changes_nothing(desk: Client) -> None:
    helper = HelperFactory()
    assert desk.post(reverse("helper_change", args=[helper.pk]), typed(full_name="")).status_code == 422
    helper.refresh_from_db()
    assert helper.full_name == "Hal Per"


def test_two_who_changed_the_same_helper_both_keep_their_work(desk: Client) -> None:
    """A changes the telephone while B's form is open: B sees both versions, and A's number stays."""
    helper, ann = HelperFactory(), UserFactory(full_name="Ann Other")
    helper_change(actor=Actor(ann), now=NOW, helper=helper, values={"phone": "+12125550199"}, version=1)
    stale = typed(full_name="Hal Per", relation="helper", call_me="Hal", phone="212 555 0177")
    answer = desk.post(reverse("helper_change", args=[helper.pk]), stale)
    page = answer.content.decode()
    helper.refresh_from_db()
    assert (answer.status_code, helper.phone, helper.call_me) == (409, "+12125550199", "")
    assert "<bdi>Ann Other</bdi> saved Wed 10 Mar 2027 10:00: Telephone." in page
    again = answer.context["form"]
    assert (again["phone"].value(), again["call_me"].value(), again["version"].value()) == ("+12125550199", "Hal", 2)
    form = stale | {"phone": "+12125550199", "version": "2"}
    assert desk.post(reverse("helper_change", args=[helper.pk]), form).status_code == 302
    helper.refresh_from_db()
    assert (helper.phone, helper.call_me) == ("+12125550199", "Hal")


def test_removing_is_a_post_and_is_recorded(desk: Client) -> None:
    helper = HelperFactory()
    address = reverse("helper_remove", args=[helper.pk])
    assert (desk.get(address).status_code, Helper.objects.count()) == (405, 1)
    desk.post(address)
    assert Helper.objects.count() == 0
    assert Event.objects.get(verb="helper.removed").patient_id == helper.patient_id
