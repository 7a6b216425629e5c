"""What a message's templates may say: gathered from the row, never the full name, never a diagnosis."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from clinic.models import Clinic, Helper, Patient, Visit
from reminders.models import Link, Message
from reminders.rules.facts import Removal
from reminders.rules.kinds import MessageKind
from reminders.rules.words import day_words, near_day_words, places_together, shortened
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
    if saying.row.visit is not None:
        words |= _visit(saying.row.visit, saying)
    if saying.row.kind == MessageKind.STOP_CONFIRMED:
        words["still_on"] = _still_on(saying)
    return words


def _whose(saying: Saying) -> dict[str, Any]:
    """Whose tape and visit: yours, or for a helper the patient's by the name they want to be called."""
    if isinstance(saying.recipient, Patient):
        return {"for_helper": False, "tape": "your tape", "visit_of": "your visit"}
    called = saying.row.patient.call_me
    tape, visit = (f"{called}'s tape", f"{called}'s visit") if called else ("the tape", "the visit")
    return {"for_helper": True, "tape": tape, "visit_of": visit}


def _tape(saying: Saying) -> dict[str, Any]:
    applications = saying.applications
    first, many = applications[0], len(applications) > 1
    visit = removal_visit_of(first)
    zone, today = saying.zone, saying.now.astimezone(saying.zone).date()
    by = Removal.CLINIC if visit else _by(applications)
    off_day = visit.starts_at.astimezone(zone).date() if visit else first.removal_day
    return {
        "place": places_together((one.region, one.side) for one in applications),
        "many": many,
        "is_are": "are" if many else "is",
        "comes": "come" if many else "comes",
        "it": "they" if many else "it",
        "it_object": "them" if many else "it",
        "move_from": _still_ahead(saying, "adhesion_minutes"),
        "water_from": _still_ahead(saying, "water_minutes"),
        "off_day": day_words(off_day),
        "off_when": near_day_words(off_day, today),
        "off_at": f"{visit.starts_at.astimezone(zone):%H:%M}" if visit else "",
        "closed_day": day_words(max(one.closes_on for one in applications)),
        "by": by.value,
        "by_words": _by_words(by, visit, saying),
        "helper": first.helper.call_me if first.helper else "",
        "raw": not RAW_SIGNS.isdisjoint(saying.signs),
        "steps": [step.text for step in removal_steps(saying.signs)],
        "link": link_address(first),
        "stop_link": link_address(first, Link.Purpose.STOP),
    }


def _by(applications: Sequence[Application]) -> Removal:
    """Who takes them off; where they differ, the most careful: a helper's tape is nothing for the patient alone."""
    removals = {one.removal for one in applications}
    return next(remover for remover in (Removal.CLINIC, Removal.HELPER, Removal.HOME) if remover.value in removals)


def _by_words(by: Removal, visit: Visit | None, saying: Saying) -> str:
    if visit is not None:
        return f"at the clinic at {visit.starts_at.astimezone(saying.zone):%H:%M}"
    if by is Removal.HOME:
        return "at home"
    if by is Removal.CLINIC:
        return "at the clinic: call us for a time"
    helper = saying.applications[0].helper
    if isinstance(saying.recipient, Helper):
        return "with your help"
    return f"with {helper.call_me}" if helper is not None and helper.call_me else "with your helper"


def _still_ahead(saying: Saying, field: str) -> str:
    """ "10:20", the latest of the tapes' waits, with the day where it is another; empty where it has passed."""
    ends_at = max(one.applied_at + timedelta(minutes=getattr(one, field)) for one in saying.applications)
    if ends_at <= saying.now:
        return ""
    local, today = ends_at.astimezone(saying.zone), saying.now.astimezone(saying.zone).date()
    return f"{local:%H:%M}" if local.date() == today else f"{local:%H:%M} {near_day_words(local.date(), today)}"


def _visit(visit: Visit, saying: Saying) -> dict[str, Any]:
    local = visit.starts_at.astimezone(saying.zone)
    return {
        "visit_day": day_words(local.date()),
        "visit_at": f"{local:%H:%M}",
        "visit_removes": visit.purpose == Visit.Purpose.REMOVAL,
    }


def _still_on(saying: Saying) -> list[dict[str, str]]:
    """The tapes of everybody at that address: after a STOP nothing else will say when they come off."""
    patients = {
        saying.row.patient_id,
        *patients_at(saying.row.channel, saying.row.address).values_list("pk", flat=True),
    }
    on = Application.objects.filter(patient__in=patients, ended_at=None).order_by("closes_on", "id")
    return [{"place": places_together([(one.region, one.side)]), "off_day": day_words(one.removal_day)} for one in on]
