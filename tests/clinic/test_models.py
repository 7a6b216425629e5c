"""What the tables themselves hold to."""

from datetime import time, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction

from clinic.models import Clinic, Closure, Event, EventDoor, OpeningHours, Patient, User
from clinic.models.events import EventIsFinal
from clinic.services.events import Actor, event_record, events_let_go
from tests.factories.clinic import NOW, HelperFactory, PatientFactory, UserFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def event() -> Event:
    patient = PatientFactory()
    return event_record(actor=Actor(), verb="patient.read", subject=patient, patient=patient, now=NOW)


def test_an_event_is_never_changed(event: Event) -> None:
    event.verb = "patient.forgotten"
    with pytest.raises(EventIsFinal):
        event.save()
    assert Event.objects.get().verb == "patient.read"


def test_an_event_is_never_deleted(event: Event) -> None:
    with pytest.raises(EventIsFinal):
        event.delete()
    assert Event.objects.count() == 1


@pytest.mark.parametrize(
    "statement", ["UPDATE clinic_event SET verb = 'x.y'", "DELETE FROM clinic_event", "UPDATE clinic_event SET at = at"]
)
def test_the_database_itself_refuses_to_touch_an_event(event: Event, statement: str) -> None:
    with pytest.raises(IntegrityError, match="event_final"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement)
    assert Event.objects.get().verb == "patient.read"


@pytest.mark.parametrize("ending", ["", " CASCADE"])
def test_postgresql_refuses_to_empty_the_table_of_events_at_once(event: Event, ending: str) -> None:
    """TRUNCATE asks no trigger of a row (PostgreSQL's manual, TRUNCATE); not even an open door lets it pass."""
    if connection.vendor != "postgresql":
        pytest.skip("SQLite has no TRUNCATE")
    with events_let_go(before=NOW + timedelta(days=1)), connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        with pytest.raises(IntegrityError, match="event_final"), transaction.atomic():
            cursor.execute(f"TRUNCATE clinic_event{ending}")
        with pytest.raises(IntegrityError, match="event_final"), transaction.atomic():
            cursor.execute(f"TRUNCATE clinic_user{ending or ' CASCADE'}")
    assert Event.objects.get().verb == "patient.read"


def test_the_door_lets_out_only_what_is_older(event: Event) -> None:
    newer = event_record(actor=Actor(), verb="patient.read", subject=event, now=NOW + timedelta(days=2))
    with events_let_go(before=NOW + timedelta(days=1)):
        assert Event.objects.filter(at__lt=NOW + timedelta(days=1)).delete()[0] == 1
        with pytest.raises(IntegrityError, match="event_final"), transaction.atomic():
            Event.objects.all().delete()
        with pytest.raises(IntegrityError, match="event_final"), transaction.atomic():
            Event.objects.update(verb="x.y")
    assert list(Event.objects.all()) == [newer]
    with pytest.raises(IntegrityError, match="event_final"), transaction.atomic():
        Event.objects.all().delete()
    assert not EventDoor.objects.exists()


def test_an_event_keeps_names_of_fields_in_one_order(event: Event) -> None:
    noted = event_record(actor=Actor(), verb="x.y", subject=event, now=NOW, fields=["phone", "email"])
    assert (noted.fields, noted.patient_id) == (["email", "phone"], None)


def test_a_student_is_never_a_therapist_too() -> None:
    with pytest.raises(IntegrityError):
        UserFactory(is_student=True)


def test_a_name_saved_alone_takes_its_search_key_along() -> None:
    patient = PatientFactory(full_name="Old")
    patient.full_name = "Zoë"
    patient.save(update_fields=["full_name"])
    assert Patient.objects.get().search_text == "zoe"


def test_the_first_manager_is_made_by_name_and_password() -> None:
    """createsuperuser works: the program's managers are its owners."""
    user = User.objects.create_superuser(" boss ", "a long enough phrase", full_name="Mina Okafor")
    assert (user.username, user.roles, str(user)) == ("boss", frozenset({"manager"}), "Mina Okafor")
    assert (user.tapes, UserFactory(student=True).tapes) == (False, True)


def test_two_helpers_cannot_both_get_the_messages() -> None:
    first = HelperFactory(gets_messages=True)
    with pytest.raises(IntegrityError):
        HelperFactory(patient=first.patient, gets_messages=True)


def test_there_is_one_clinic(clinic: Clinic) -> None:
    Clinic(name="Another").save()
    assert list(Clinic.objects.values_list("name", flat=True)) == ["Another"]


@pytest.mark.parametrize(
    "fields",
    [
        {"quiet_from": time(8)},
        {"wear_first_day": 0},
        {"wear_first_day": 6},
        {"wear_last_day": 8},
        {"adhesion_minutes": 19},
        {"water_minutes": 241},
    ],
)
def test_the_database_refuses_numbers_no_clinic_may_set(clinic: Clinic, fields: dict[str, object]) -> None:
    with pytest.raises(IntegrityError):
        Clinic.objects.update(**fields)


def test_quiet_hours_that_never_end_are_said(clinic: Clinic) -> None:
    clinic.quiet_from = clinic.quiet_until
    with pytest.raises(ValidationError, match="another time"):
        clinic.clean()


def test_hours_end_after_they_begin(clinic: Clinic) -> None:
    with pytest.raises(IntegrityError):
        OpeningHours.objects.create(weekday=6, opens="12:00", closes="08:00")


def test_the_clinic_is_closed_once_a_day(clinic: Clinic) -> None:
    """A unique constraint alone would let two rows without a therapist through: NULL equals nothing."""
    Closure.objects.create(day="2027-12-24")
    with pytest.raises(IntegrityError):
        Closure.objects.create(day="2027-12-24")
