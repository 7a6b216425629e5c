"""The forms about patients and helpers, without a page around them."""

from datetime import date
from typing import Any

import pytest

from clinic.forms.patients import HelperForm, PatientForm, initial_of
from clinic.models import Clinic, Patient

TODAY = date(2027, 3, 10)


def form(country: str = "US", **changed: Any) -> PatientForm:
    data = {
        "full_name": "Bea Long",
        "phone": "(212) 555-0144",
        "prefers": "sms",
        "language": "en",
        "consents": "yes",
    }
    return PatientForm({**data, **changed}, clinic=Clinic(country=country), today=TODAY)


def errors(one: PatientForm | HelperForm) -> dict[str, list[str]]:
    return {name: [str(text) for text in texts] for name, texts in one.errors.items()}


def test_a_complete_form_gives_the_models_values() -> None:
    one = form(born="04/03/1985", may_leave_message="on")
    assert one.is_valid()
    assert one.values() == {
        "full_name": "Bea Long", "call_me": "", "born": date(1985, 4, 3), "phone": "+12125550144", "email": "",
        "prefers": "sms", "consents": True, "may_leave_message": True, "language": "en", "interpreter": "",
        "time_zone": "", "note": "",
    }  # fmt: skip


def test_an_empty_form_asks_for_what_is_needed_and_nothing_more() -> None:
    empty = PatientForm({}, clinic=Clinic(), today=TODAY)
    assert set(errors(empty)) == {"full_name", "prefers", "language", "consents"}


@pytest.mark.parametrize("number", ["+44 20 7946 0018", "+1 800 555 0199"])
def test_text_messages_to_what_cannot_be_a_mobile_are_refused_with_the_reason(number: str) -> None:
    assert "cannot be a mobile number" in errors(form(phone=number))["phone"][0]


def test_a_landline_is_kept_where_reminders_go_by_mail() -> None:
    one = form(phone="+44 20 7946 0018", prefers="email", email="bea@example.org")
    assert one.is_valid()
    assert one.values()["phone"] == "+442079460018"


def test_an_extension_is_refused_with_what_to_do() -> None:
    one = form(phone="212 555 0123 ext 12", prefers="email", email="bea@example.org")
    assert errors(one) == {
        "phone": ["Only a direct number can be reached: leave the extension out and write it into the note."]
    }


@pytest.mark.parametrize(
    ("email", "words"),
    [
        ("jörg@example.com", "Write the e-mail address like name@example.org."),
        ("info@faß.example", "mail could reach a stranger"),
        ("bea@example.org\nBcc: z@example.net", "Write the e-mail address like name@example.org."),
    ],
)
def test_an_address_that_would_reach_nobody_or_a_stranger_is_refused_beside_its_field(email: str, words: str) -> None:
    one = form(prefers="email", email=email)
    assert list(errors(one)) == ["email"]
    assert words in errors(one)["email"][0]


@pytest.mark.parametrize("email", ["info@bücher.example", "o'neil+tape@example.com"])
def test_an_unusual_address_that_works_is_kept_as_it_is(email: str) -> None:
    one = form(prefers="email", email=email)
    assert one.is_valid()
    assert one.values()["email"] == email


def test_a_name_without_a_mailbox_and_a_number_is_no_way_to_be_reached() -> None:
    """Nothing is stored that could never be sent: each way asks for its own address."""
    assert errors(form(prefers="email", phone="(212) 555-0144", email="")) == {
        "email": ["Reminders by e-mail need an e-mail address."]
    }
    assert errors(form(prefers="sms", phone="", email="bea@example.org")) == {
        "phone": ["Reminders by text message need a mobile number."]
    }


@pytest.mark.parametrize(("prefers", "field"), [("sms", "phone"), ("email", "email")])
def test_the_chosen_way_needs_its_address(prefers: str, field: str) -> None:
    assert list(errors(form(prefers=prefers, phone="", email=""))) == [field]


def test_a_wrong_number_is_reported_once() -> None:
    assert len(errors(form(phone="call mum"))["phone"]) == 1


def test_a_time_zone_must_exist() -> None:
    assert form(time_zone="America/Chicago").is_valid()
    assert list(errors(form(time_zone="Chicago"))) == ["time_zone"]


def test_the_hint_shows_the_order_that_is_read() -> None:
    assert "04/03/1985" in str(form("US").fields["born"].help_text)
    assert "03/04/1985" in str(form("GB").fields["born"].help_text)


def test_a_stored_patient_goes_through_the_form_unchanged() -> None:
    """What is shown and saved untouched is what was stored, whatever the country's order of dates."""
    patient = Patient(
        full_name="O'Neil", born=date(1990, 5, 15), phone="+12125550144", prefers="sms", consents=True, version=3
    )
    begun = PatientForm(clinic=Clinic(), today=TODAY, initial=initial_of(patient, PatientForm))
    sent = {name: begun[name].value() for name in begun.fields if begun[name].value() not in (None, False)}
    again = PatientForm({**sent, "consents": "yes"}, clinic=Clinic(), today=TODAY)
    assert again.is_valid(), again.errors
    assert [name for name, value in again.values().items() if getattr(patient, name) != value] == []


def test_a_helper_who_gets_messages_must_be_reachable() -> None:
    data = {"relation": "helper", "full_name": "Hal", "prefers": "sms", "language": "en", "gets_messages": "on"}
    assert list(errors(HelperForm(data, clinic=Clinic()))) == ["phone"]
    assert HelperForm({**data, "phone": "212 555 0177"}, clinic=Clinic()).is_valid()


def test_who_the_helper_is_has_to_be_said() -> None:
    data = {"full_name": "Hal", "prefers": "sms", "language": "en", "phone": "212 555 0177"}
    assert list(errors(HelperForm(data, clinic=Clinic()))) == ["relation"]


@pytest.mark.parametrize("prefers", ["sms", "email"])
def test_a_child_needs_no_address_of_its_own(prefers: str) -> None:
    """Eighteen on the day: grown up."""
    assert form(born="03/11/2009", phone="", prefers=prefers).is_valid()
    assert not form(born="03/10/2009", phone="", prefers=prefers).is_valid()


@pytest.mark.parametrize("phone", ["", "+44 20 7946 0018"])
def test_who_wants_no_reminders_needs_no_mobile(phone: str) -> None:
    assert form(phone=phone, consents="no").is_valid()


def test_where_a_helper_gets_the_messages_the_patient_needs_no_mobile() -> None:
    data = {"full_name": "Bea Long", "prefers": "sms", "language": "en", "consents": "yes"}
    assert PatientForm(data, clinic=Clinic(), today=TODAY, helped=True).is_valid()


def test_a_helper_who_only_takes_the_tape_off_needs_no_mobile() -> None:
    data = {"relation": "helper", "full_name": "Robin", "prefers": "sms", "language": "en", "takes_tape_off": "on"}
    assert HelperForm(data, clinic=Clinic()).is_valid()
    assert list(errors(HelperForm({**data, "gets_messages": "on"}, clinic=Clinic()))) == ["phone"]
