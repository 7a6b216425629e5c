"""What a message's templates may say: gathered from the row, never the full name, never a diagnosis."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from clinic.models import Clinic, Helper, Patient, Visit
from reminders.models import Link, Message
from reminders.rules.facts import Removal
from reminders.rules.kinds import MessageKind
from reminders.rules.words import all_of, day_words, near_day_words, places_together, shortened
from reminders.services.links import link_address
from reminders.services.stopping import patients_at
from reminders.services.subjects import patient_zone, removal_visit_of
from taping.models import Application
from taping.rules.removal import RAW_SIGNS, removal_steps

LONGEST_CLINIC_NAME = 40
"""Characters of the clinic's name in a text message; more would cost what the patient has to know."""


@dataclass(frozen=True, slots=True)
class Saying:
    """One message to say at now (aware): its row, rows said with it, who gets it, and signs reported of its tapes."""

    row: Message
    joined: Sequence[Message]
    recipient: Patient | Helper
    clinic: Clinic
    now: datetime
    signs: Sequence[str] = ()

    @property
    def applications(self) -> list[Application]:
        return [row.application for row in (self.row, *self.joined) if row.application is not None]

    @property
    def visits(self) -> list[Visit]:
        return [row.visit for row in (self.row, *self.joined) if row.visit is not None]

    @property
    def zone(self) -> ZoneInfo:
        return patient_zone(self.row.patient, self.clinic)


def words_for(saying: Saying) -> dict[str, Any]:
    """The variables of every template; times are written in the patient's zone, days are the clinic's."""
    clinic = saying.clinic
    name = shortened(clinic.name, LONGEST_CLINIC_NAME)
    words: dict[str, Any] = {
        "clinic_name": clinic.name,
        "telephone": clinic.telephone,
        "sender": f"{name} {clinic.telephone}".strip(),
        "emergency": clinic.emergency_number or "the emergency number",
        "out_of_hours": clinic.out_of_hours_advice,
        "hello": saying.recipient.call_me,
        "kind": saying.row.kind,
    }
    words |= _whose(saying)
    if saying.applications:
        words |= _tape(saying)
    if saying.visits:
        words |= _visits(saying.visits, saying)
    if saying.row.kind == MessageKind.STOP_CONFIRMED:
        words["still_on"] = _still_on(saying)
    return words


def _whose(saying: Saying) -> dict[str, Any]:
    """Whose tape and visit: yours, or for a helper the patient's by the name they want to be called."""
    if isinstance(saying.recipient, Patient):
        return {"for_helper": False, "tape": f"your tape{_s(saying)}", "visit_of": "your visit"}
    called = saying.row.patient.call_me
    tape, visit = (f"{called}'s tape", f"{called}'s visit") if called else ("the tape", "the visit")
    return {"for_helper": True, "tape": f"{tape}{_s(saying)}", "visit_of": visit}


def _s(saying: Saying) -> str:
    return "s" if len(saying.applications) > 1 else ""


def _tape(saying: Saying) -> dict[str, Any]:
    applications = saying.applications
    many = len(applications) > 1
    comings_off = [_coming_off(application, saying) for application in applications]
    first = comings_off[0]
    mixed = any(one["off"] != first["off"] for one in comings_off)
    return {
        "place": places_together((one.region, one.side) for one in applications),
        "many": many,
        "is_are": "are" if many else "is",
        "comes": "come" if many else "comes",
        "it": "they" if many else "it",
        "it_object": "them" if many else "it",
        "move_from": _still_ahead(saying, "adhesion_minutes"),
        "water_from": _still_ahead(saying, "water_minutes"),
        "closed_day": day_words(max(one.closes_on for one in applications)),
        "mixed": mixed,
        "each": comings_off,
        "raw": not RAW_SIGNS.isdisjoint(saying.signs),
        "steps": [step.text for step in removal_steps(saying.signs)],
        "link": link_address(applications[0]),
        "other_links": [link_address(application) for application in applications[1:]],
        "stop_link": link_address(applications[0], Link.Purpose.STOP),
        **first,
        # Where tapes differ, the most careful way is said of all: a helper's tape is nothing for the patient alone.
        "by": _most_careful(one["by"] for one in comings_off),
    }


def _coming_off(application: Application, saying: Saying) -> dict[str, str]:
    """When one tape comes off and by whom, in words."""
    visit = removal_visit_of(application)
    zone, today = saying.zone, saying.now.astimezone(saying.zone).date()
    local = visit.starts_at.astimezone(zone) if visit else None
    day = local.date() if local else application.removal_day
    by = Removal.CLINIC if visit else Removal(application.removal)
    helper = application.helper.call_me if application.helper else ""
    at = f"{local:%H:%M}" if local else ""
    by_words = _by_words(by, at, helper, for_helper=isinstance(saying.recipient, Helper))
    return {
        "where": places_together([(application.region, application.side)]),
        "off_day": day_words(day),
        "off_when": near_day_words(day, today),
        "off_at": at,
        "by": by.value,
        "by_words": by_words,
        "helper": helper,
        "off": f"{day_words(day)}, {by_words}",
    }


def _most_careful(removers: Iterable[str]) -> str:
    order = [Removal.CLINIC.value, Removal.HELPER.value, Removal.HOME.value]
    return min(removers, key=order.index)


def _by_words(by: Removal, at: str, helper: str, *, for_helper: bool) -> str:
    if by is Removal.HOME:
        return "at home"
    if by is Removal.CLINIC:
        return f"at the clinic at {at}" if at else "at the clinic: call us for a time"
    if for_helper:
        return "with your help"
    return f"with {helper or 'your helper'}"


def _still_ahead(saying: Saying, field: str) -> str:
    """ "10:20", the latest of the tapes' waits, with the day where it is another; empty where it has passed."""
    ends_at = max(one.applied_at + timedelta(minutes=getattr(one, field)) for one in saying.applications)
    if ends_at <= saying.now:
        return ""
    local, today = ends_at.astimezone(saying.zone), saying.now.astimezone(saying.zone).date()
    return f"{local:%H:%M}" if local.date() == today else f"{local:%H:%M} {near_day_words(local.date(), today)}"


def _visits(visits: Sequence[Visit], saying: Saying) -> dict[str, Any]:
    local = sorted(visit.starts_at.astimezone(saying.zone) for visit in visits)
    return {
        "visit_when": all_of([f"{day_words(one.date())}, {one:%H:%M}" for one in local]),
        "visits_are": "are" if len(visits) > 1 else "is",
        "visits_have": "have" if len(visits) > 1 else "has",
        "visit_s": "s" if len(visits) > 1 else "",
        "visit_removes": any(visit.purpose == Visit.Purpose.REMOVAL for visit in visits),
    }


def _still_on(saying: Saying) -> list[dict[str, str]]:
    """The tapes of everybody at that address: after a STOP nothing else will say when they come off."""
    patients = {
        saying.row.patient_id,
        *patients_at(saying.row.channel, saying.row.address).values_list("pk", flat=True),
    }
    on = Application.objects.filter(patient__in=patients, ended_at=None).order_by("closes_on", "id")
    return [{"place": places_together([(one.region, one.side)]), "off_day": day_words(one.removal_day)} for one in on]
