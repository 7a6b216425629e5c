"""Makes the clinic, its staff, its tape and its patients."""

from datetime import datetime, time

from clinic.models import Clinic, Helper, OpeningHours, Patient, User
from clinic.rules.tongue import tongue_of
from clinic.services.events import Actor
from clinic.services.patients import helper_save, patient_add
from reminders.demo.reading import Fixtures, Row
from taping.models import TapeRoll
from taping.rules.tape import Tape


def clinic_put(fixtures: Fixtures, now: datetime) -> Clinic:
    """The clinic's row, its hours and its measured roll. now: aware."""
    clinic = Clinic(**fixtures.clinic["clinic"])
    clinic.languages = {
        key: approval | {"edition": tongue_of(key).edition} for key, approval in clinic.languages.items()
    }
    clinic.save()
    OpeningHours.objects.bulk_create(
        OpeningHours(weekday=weekday, opens=time.fromisoformat(row["opens"]), closes=time.fromisoformat(row["closes"]))
        for row in fixtures.clinic["hours"]
        for weekday in row["weekdays"]
    )
    for row in fixtures.clinic["roll"]:
        tape = Tape.measured(row["paper_mm"], row["relaxed_mm"], row["full_mm"])
        TapeRoll.objects.create(
            name=row["name"],
            colour=row["colour"],
            lot=row["lot"],
            pre_stretch=tape.pre_stretch,
            limit=tape.limit,
            measured_at=now,
        )
    return clinic


def staff_put(fixtures: Fixtures) -> dict[str, User]:
    """Everybody who works there, by log-in name."""
    return {row["username"]: _user(row) for row in fixtures.staff}


def _user(row: Row) -> User:
    marks = {f"is_{role}": True for role in row["roles"]}
    return User.objects.create_user(row["username"], row["password"], full_name=row["full_name"], **marks)


def patients_put(fixtures: Fixtures, actor: Actor, now: datetime) -> dict[str, Patient]:
    """The patients with their helpers, by the name the story calls them. now: aware."""
    return {row["ref"]: _patient(row, actor, now) for row in fixtures.patients}


def _patient(row: Row, actor: Actor, now: datetime) -> Patient:
    values = {name: value for name, value in row.items() if name not in ("ref", "helper")}
    patient = patient_add(actor=actor, now=now, values=values)
    if "helper" in row:
        helper_save(actor=actor, now=now, patient=patient, helper=Helper(**row["helper"]))
    return patient
