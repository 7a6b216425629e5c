"""Finding, adding and changing a patient, as the desk does it."""

from collections.abc import Callable
from datetime import date
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.models import Event, Patient, User
from clinic.services.events import Actor
from clinic.services.patients import patient_change
from tests.factories.clinic import NOW, HelperFactory, PatientFactory, UserFactory

SignedIn = Callable[..., tuple[Client, User]]
MOST_QUERIES = 15


@pytest.fixture
def desk(signed_in: SignedIn) -> Client:
    return signed_in("desk")[0]


def typed(**changed: Any) -> dict[str, Any]:
    """A complete form for somebody new."""
    form = {
        "full_name": "Bea Long", "call_me": "Bea", "born": "1985-04-03", "phone": "(212) 555-0144", "email": "",
        "prefers": "sms", "language": "en", "consents": "yes", "once": str(uuid4()),
    }  # fmt: skip
    return {**form, **changed}


def changed_form(patient: Patient, **changed: Any) -> dict[str, Any]:
    """The form about patient as a browser sends it back, with some fields changed."""
    form = {
        "full_name": patient.full_name, "call_me": patient.call_me, "born": str(patient.born),
        "phone": patient.phone, "email": patient.email, "prefers": patient.prefers, "language": "en",
        "consents": "yes" if patient.consents else "no", "version": patient.version,
    }  # fmt: skip
    return {**form, **changed}


def queries(client: Client, address: str) -> int:
    with CaptureQueriesContext(
        connection,
    ) as seen:
        assert client.get(address).status_code == 200
    return len(seen)


def test_a_new_patient_is_kept_as_typed(signed_in: SignedIn) -> None:
    client, user = signed_in("desk")
    answer = client.post(reverse("patient_add"), typed())
    patient = Patient.objects.get()
    assert answer.headers["Location"] == reverse("patient_page", args=[patient.pk])
    assert (patient.full_name, patient.born, patient.phone) == ("Bea Long", date(1985, 4, 3), "+12125550144")
    assert (patient.consents, patient.consent_asked_by) == (True, user)
    assert Event.objects.get(verb="patient.added").actor == user


def test_the_same_form_sent_twice_makes_one_patient(desk: Client) -> None:
    form = typed()
    first = desk.post(reverse("patient_add"), form)
    again = desk.post(reverse("patient_add"), {**form, "alike_seen": str(Patient.objects.get().pk)})
    assert (first.headers["Location"], Patient.objects.count()) == (again.headers["Location"], 1)


def test_a_wrong_form_saves_nothing_and_keeps_everything(desk: Client) -> None:
    answer = desk.post(reverse("patient_add"), typed(born="03/04/45", phone="call mum", note="Likes tea"))
    page = answer.content.decode()
    assert (answer.status_code, Patient.objects.count()) == (422, 0)
    assert page.count("<title>Error: ") == 1
    for kept in ('value="03/04/45"', 'value="call mum"', "Likes tea", 'value="Bea Long"'):
        assert kept in page


def test_the_summary_says_and_links_what_stands_at_the_field(desk: Client) -> None:
    page = desk.post(reverse("patient_add"), typed(phone="", consents="")).content.decode()
    for field, text in (
        ("id_phone", "Reminders by text message need a mobile number."),
        ("id_consents_0", "Say whether they agreed to reminders."),
    ):
        assert f'<a href="#{field}">{text}</a>' in page
        assert f'id="{field}"' in page
        assert page.count(text) == 2


def test_nothing_is_chosen_for_the_person(desk: Client) -> None:
    assert " checked" not in desk.get(reverse("patient_add")).content.decode()


def test_somebody_alike_is_shown_before_saving(desk: Client) -> None:
    PatientFactory(full_name="Béa Long", born=date(1985, 4, 3))
    answer = desk.post(reverse("patient_add"), typed())
    assert (answer.status_code, Patient.objects.count()) == (422, 1)
    assert "Is it one of these?" in answer.content.decode()
    assert "Béa Long" in answer.content.decode()


def test_somebody_else_of_that_name_can_be_added_after_looking(desk: Client) -> None:
    one = PatientFactory(full_name="Bea Long", born=date(1985, 4, 3))
    desk.post(reverse("patient_add"), typed(alike_seen=str(one.pk)))
    assert Patient.objects.filter(full_name="Bea Long").count() == 2


def test_somebody_alike_who_came_meanwhile_is_shown_again(desk: Client) -> None:
    """Two at the desk enter the same person: whoever saves last sees the first."""
    one = PatientFactory(full_name="Bea Long", born=date(1985, 4, 3))
    PatientFactory(full_name="Bea Long", born=date(1985, 4, 3))
    assert desk.post(reverse("patient_add"), typed(alike_seen=str(one.pk))).status_code == 422


def test_a_minor_leads_to_the_guardian(desk: Client) -> None:
    answer = desk.post(reverse("patient_add"), typed(born="2020-04-03"))
    child = Patient.objects.get()
    assert answer.headers["Location"] == f"{reverse('helper_add', args=[child.pk])}?relation=guardian"


@pytest.mark.parametrize("name", ["O'Neil", "<b>Al</b>", "陈", "Null", "מרים כהן"])
def test_names_are_shown_escaped_and_apart_from_numbers(desk: Client, name: str) -> None:
    """Each name and number in its own bdi: a right-to-left name does not turn the number's digits round."""
    PatientFactory(full_name=name, phone="+12125550144")
    page = desk.get(reverse("patients")).content.decode()
    shown = name.replace("<", "&lt;").replace(">", "&gt;").replace("'", "&#x27;")
    assert f"<bdi>{shown}</bdi>" in page
    assert '<bdi class="nowrap">+1 212-555-0144</bdi>' in page


def test_the_list_says_why_it_is_empty(desk: Client) -> None:
    assert "No patient has been entered yet" in desk.get(reverse("patients")).content.decode()
    PatientFactory(full_name="Ada")
    assert "Nobody matches" in desk.get(reverse("patients"), {"q": "zzz"}).content.decode()
    assert "There is no page 9" in desk.get(reverse("patients"), {"page": "9"}).content.decode()


@pytest.mark.parametrize("query", ["q=a%00b", "q=%F0%9F%98%80", "page=0", "page=x", "page=99999999999999999999", "q=%"])
def test_odd_questions_get_a_page(desk: Client, query: str) -> None:
    assert desk.get(f"{reverse('patients')}?{query}").status_code == 200


def test_pages_show_everybody_once(desk: Client) -> None:
    """All of one name: only an order that no two share keeps anybody from being skipped between pages."""
    made = {PatientFactory(full_name="Ada Quill").pk for _ in range(65)}
    seen = [row.pk for page in (1, 2, 3) for row in desk.get(f"{reverse('patients')}?page={page}").context["rows"]]
    assert (len(seen), set(seen)) == (65, made)


def test_a_date_of_birth_typed_as_here_finds_the_patient(desk: Client) -> None:
    PatientFactory(full_name="Bea", born=date(1991, 5, 6))
    assert [row.full_name for row in desk.get(reverse("patients"), {"q": "05/06/1991"}).context["rows"]] == ["Bea"]


def test_the_list_asks_the_database_as_often_for_thirty_as_for_one(desk: Client) -> None:
    PatientFactory()
    one = queries(desk, reverse("patients"))
    PatientFactory.create_batch(30)
    assert queries(desk, reverse("patients")) == one <= MOST_QUERIES


@pytest.mark.parametrize("page", ["patient_add", "patient_change"])
def test_forms_stay_within_the_limit_of_queries(desk: Client, page: str) -> None:
    address = reverse(page, args=[PatientFactory().pk] if page == "patient_change" else [])
    assert queries(desk, address) <= MOST_QUERIES


def test_reading_the_details_is_recorded(desk: Client) -> None:
    patient = PatientFactory()
    desk.get(reverse("patient_change", args=[patient.pk]))
    event = Event.objects.get(verb="patient.read")
    assert (event.patient_id, event.fields) == (patient.pk, [])


def test_a_change_is_saved_with_the_names_of_its_fields_only(desk: Client) -> None:
    patient = PatientFactory(email="")
    desk.post(reverse("patient_change", args=[patient.pk]), changed_form(patient, phone="212 555 0199"))
    patient.refresh_from_db()
    event = Event.objects.get(verb="patient.changed")
    assert (patient.phone, patient.version, event.fields) == ("+12125550199", 2, ["phone"])


def test_two_who_changed_the_same_patient_both_keep_their_work(desk: Client) -> None:
    """A changes the telephone while B's form is open: B sees both versions, and A's number stays."""
    patient = PatientFactory()
    stale = changed_form(patient, note="Allergic to plasters")
    ann = UserFactory(full_name="Ann Other")
    patient_change(actor=Actor(ann), now=NOW, patient=patient, values={"phone": "+12125550199"}, version=1)
    answer = desk.post(reverse("patient_change", args=[patient.pk]), stale)
    page = answer.content.decode()
    patient.refresh_from_db()
    assert (answer.status_code, patient.phone, patient.note) == (409, "+12125550199", "")
    assert "<bdi>Ann Other</bdi> saved Wed 10 Mar 2027 10:00: Telephone." in page
    assert 'value="+12125550199"' in page
    assert stale["phone"] in page
    assert page.count("Allergic to plasters") == 2


def test_after_looking_at_both_versions_the_second_is_saved(desk: Client) -> None:
    patient = PatientFactory()
    address = reverse("patient_change", args=[patient.pk])
    patient_change(actor=Actor(), now=NOW, patient=patient, values={"phone": "+12125550199"}, version=1)
    again = desk.post(address, changed_form(patient, note="Allergic")).context["form"]
    assert (again["phone"].value(), again["note"].value(), again["version"].value()) == ("+12125550199", "Allergic", 2)
    desk.post(address, changed_form(patient, note="Allergic", phone="+12125550199", version=2))
    patient.refresh_from_db()
    assert (patient.phone, patient.note) == ("+12125550199", "Allergic")


def test_consent_is_withdrawn_and_given_again_with_dates(signed_in: SignedIn) -> None:
    client, user = signed_in("desk")
    patient = PatientFactory()
    client.post(reverse("patient_consent", args=[patient.pk]), {"consents": "no"})
    patient.refresh_from_db()
    assert (patient.consents, patient.consent_withdrawn_at is None) == (False, False)
    client.post(reverse("patient_consent", args=[patient.pk]), {"consents": "yes"})
    patient.refresh_from_db()
    assert (patient.consents, patient.consent_withdrawn_at, patient.consent_asked_by) == (True, None, user)


@pytest.mark.parametrize("word", ["", "maybe", "True"])
def test_an_unclear_answer_changes_no_consent(desk: Client, word: str) -> None:
    patient = PatientFactory()
    desk.post(reverse("patient_consent", args=[patient.pk]), {"consents": word})
    patient.refresh_from_db()
    assert (patient.consents, patient.version) == (True, 1)


def test_opening_an_address_never_changes_consent(desk: Client) -> None:
    patient = PatientFactory()
    assert desk.get(reverse("patient_consent", args=[patient.pk])).status_code == 405


@pytest.mark.parametrize("route", ["patient_change", "patient_consent", "helper_add"])
def test_nobody_of_that_number_is_a_404(desk: Client, route: str) -> None:
    assert desk.post(reverse(route, args=[9_999]), {}).status_code == 404


def test_a_child_reached_through_the_guardian_can_be_changed(desk: Client) -> None:
    child = PatientFactory(full_name="Kit Long", born=None, phone="", email="")
    HelperFactory(patient=child, gets_messages=True)
    form = typed(full_name="Kit Long", phone="", note="Likes tea", version=str(child.version))
    assert desk.post(reverse("patient_change", args=[child.pk]), form).status_code == 302
    child.refresh_from_db()
    assert (child.note, child.phone) == ("Likes tea", "")
