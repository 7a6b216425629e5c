"""How somebody with tape on can be reached, from what is stored."""

from typing import Any

import pytest

from clinic.models import Clinic
from reminders.models import RefusedAddress
from reminders.rules.leaving import Ways
from reminders.selectors.leaving import ways_of, with_refusals
from taping.models import Application
from tests.factories import ApplicationFactory, HelperFactory, PatientFactory, VisitFactory
from tests.factories.clinic import NOW

pytestmark = pytest.mark.django_db
PHONE, MAIL = "+12125550133", "ada@example.org"


def tape_of(**person: Any) -> Application:
    """Tape of somebody who agreed to nothing and has neither number nor address, but for what is said."""
    patient = PatientFactory(**({"phone": "", "email": "", "consents": False} | person))
    tape: Application = ApplicationFactory(patient=patient)
    return tape


@pytest.mark.parametrize(
    ("person", "ways"),
    [
        ({}, Ways()),
        ({"phone": PHONE}, Ways(telephone=True)),
        ({"phone": PHONE, "consents": True}, Ways(telephone=True, messages=True)),
        ({"email": MAIL, "consents": True}, Ways(messages=True)),
        ({"email": MAIL}, Ways()),
        ({"consents": True}, Ways()),
    ],
)
def test_the_patient_s_own_number_address_and_agreement(person: dict[str, Any], ways: Ways) -> None:
    assert ways_of(tape_of(**person)) == ways


def test_a_number_that_refused_is_no_way() -> None:
    tape = tape_of(phone=PHONE, consents=True)
    RefusedAddress.objects.create(channel="sms", address=PHONE, since=NOW, why="unknown")
    assert ways_of(tape) == Ways()


def test_a_mail_address_that_refused_leaves_the_telephone() -> None:
    tape = tape_of(phone=PHONE, email=MAIL, prefers="email", consents=True)
    RefusedAddress.objects.create(channel="email", address=MAIL, since=NOW, why="unknown")
    assert ways_of(tape) == Ways(telephone=True, messages=True)


def test_a_helper_s_number_can_be_dialled_and_messages_go_to_the_one_who_gets_them() -> None:
    tape = tape_of(email=MAIL, consents=True)
    HelperFactory(patient=tape.patient, phone="", email="", gets_messages=True)
    HelperFactory(patient=tape.patient, phone=PHONE)
    assert ways_of(tape) == Ways(telephone=True)


def test_a_helper_counts_who_takes_this_tape_off() -> None:
    tape = tape_of()
    helper = HelperFactory(patient=tape.patient, phone="", takes_tape_off=True)
    assert ways_of(tape) == Ways()
    tape.removal, tape.helper = "helper", helper
    assert ways_of(tape) == Ways(helper=True)


def test_a_booked_removal_counts(clinic: Clinic) -> None:
    tape = tape_of()
    tape.removal_visit = VisitFactory(patient=tape.patient, purpose="removal")
    assert ways_of(tape) == Ways(visit=True)


@pytest.mark.parametrize("whose", ["patient", "helper", "nobody"])
def test_a_row_says_whether_any_address_of_theirs_was_refused(whose: str) -> None:
    tape = tape_of(phone=PHONE)
    HelperFactory(patient=tape.patient, phone="+12125550188")
    number = {"patient": PHONE, "helper": "+12125550188", "nobody": "+12125550199"}[whose]
    RefusedAddress.objects.create(channel="sms", address=number, since=NOW, why="unknown")
    found = with_refusals(Application.objects.all()).get()
    assert vars(found)["any_refused"] is (whose != "nobody")
    assert ways_of(found).telephone
