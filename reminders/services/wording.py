"""What a message's templates may say: gathered from the row, never the full name, never a diagnosis."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings

from clinic.models import Clinic, Helper, Patient, Visit
from clinic.rules.tongue import Tongue, tongue_of
from reminders.models import Link, Message
from reminders.rules.facts import Removal
from reminders.rules.kinds import MessageKind
from reminders.rules.texts import Speech
from reminders.rules.words import day_words, near_day_words, places_together, shortened
from reminders.services.links import link_address
from reminders.services.stop_links import stop_address
from reminders.services.stopping import patients_at
from reminders.services.subjects import patient_zone, removal_visit_of
from taping.models import Application, SkinReport
from taping.rules.removal import RAW_SIGNS, removal_steps
from taping.rules.urgency import Urgency

LONGEST_CLINIC_NAME = 40
"""Characters of the clinic's name in a text message; more would cost what the patient has to know."""


@dataclass(frozen=True, slots=True)
class Saying:
    """One message to say at now (aware): its row, rows said with it, who gets it, and signs reported of its tapes.

    places: what the strips on each tape lie along, the top one first, by its id, where that has been read already.
    """

    row: Message
    joined: Sequence[Message]
    recipient: Patient | Helper
    clinic: Clinic
    now: datetime
    signs: Sequence[str] = ()
    places: Mapping[int, Sequence[str]] = field(default_factory=dict)

    @property
    def applications(self) -> list[Application]:
        return [row.application for row in (self.row, *self.joined) if row.application is not None]

    @property
    def visits(self) -> list[Visit]:
        return [row.visit for row in (self.row, *self.joined) if row.visit is not None]

    @property
    def kind(self) -> MessageKind:
        return MessageKind(self.row.kind)

    @property
    def zone(self) -> ZoneInfo:
        return patient_zone(self.row.patient, self.clinic)

    @property
    def tongue(self) -> Tongue:
        """The recipient's language where it is approved, else the clinic's; what goes to staff is English."""
        return tongue_of("en" if self.kind.is_for_staff else self.clinic.speaks(self.recipient.language))


def words_for(saying: Saying) -> dict[str, Any]:
    """The variables of every template; times are written in the patient's zone, days are the clinic's."""
    clinic, tongue = saying.clinic, saying.tongue
    name, telephone = shortened(clinic.name, LONGEST_CLINIC_NAME), tongue.number_apart(clinic.telephone)
    words: dict[str, Any] = {
        "speech": Speech(tongue, clinic.texts.get(tongue.key, {})),
        "language": tongue.key,
        "direction": tongue.direction,
        "number": 1,
        "clinic_name": clinic.name,
        "telephone": telephone,
        "sender": f"{tongue.begins}{name} {telephone}".strip(),
        "emergency": tongue.number_apart(clinic.emergency_number) or tongue.say("the emergency number"),
        "out_of_hours": clinic.out_of_hours_advice,
        "hello": saying.recipient.call_me,
        "kind": saying.row.kind,
        # A name as sender (3GPP TS 23.040, 9.1.2.5) cannot be answered.
        "can_reply": not any(letter.isalpha() for letter in settings.SMS_SENDER),
    }
    if saying.kind.is_for_staff:
        return words | _reports(saying)
    words |= _whose(saying)
    if saying.applications:
        words |= _tape(saying)
    if saying.visits:
        words |= _visits(saying.visits, saying)
        words.setdefault("stop_link", stop_address(saying.visits[0]))
    if saying.row.kind == MessageKind.STOP_CONFIRMED:
        words["still_on"] = _still_on(saying)
    return words


def _reports(saying: Saying) -> dict[str, Any]:
    """Skin reports for the duty address: when and how urgent, and where to read the rest. Nobody is named."""
    keys = [row.subject.partition(":")[2] for row in (saying.row, *saying.joined)]
    reports = [
        {
            "at": f"{report.reported_at.astimezone(saying.clinic.zone):%H:%M}",
            "urgency": report.urgency,
            "page": f"{settings.PUBLIC_ADDRESS}/reports/{report.pk}/",
        }
        for report in SkinReport.objects.filter(pk__in=keys).order_by("pk")
    ]
    most = max((Urgency(report["urgency"]) for report in reports), key=lambda one: one.rank, default=Urgency.NONE)
    return {"hello": "", "reports": reports, "urgency": most.value}


def _whose(saying: Saying) -> dict[str, Any]:
    """Whose tape and visit: yours, or for a helper the patient's by the name they want to be called."""
    tongue, tapes, visits = saying.tongue, max(1, len(saying.applications)), max(1, len(saying.visits))
    if isinstance(saying.recipient, Patient):
        tape = tongue.count("your tape", "your tapes", tapes)
        return {"for_helper": False, "tape": tape, "visit": tongue.count("your visit", "your visits", visits)}
    name = saying.row.patient.call_me
    if name:
        tape = tongue.count("{name}'s tape", "{name}'s tapes", tapes, name=name)
        visit = tongue.count("{name}'s visit", "{name}'s visits", visits, name=name)
    else:
        tape, visit = tongue.count("the tape", "the tapes", tapes), tongue.count("the visit", "the visits", visits)
    return {"for_helper": True, "tape": tape, "visit": visit}


def _tape(saying: Saying) -> dict[str, Any]:
    applications, tongue = saying.applications, saying.tongue
    comings_off = [_coming_off(application, saying) for application in applications]
    first = comings_off[0]
    mixed = any(one["off"] != first["off"] for one in comings_off)
    return {
        "number": len(applications),
        "place": places_together(((one.region, one.side) for one in applications), tongue),
        "move_from": _still_ahead(saying, "adhesion_minutes"),
        "water_from": _still_ahead(saying, "water_minutes"),
        "closed_day": day_words(max(one.closes_on for one in applications), tongue),
        "mixed": mixed,
        "comings_off": comings_off,
        "each": _each(saying.kind, comings_off, tongue),
        "raw": not RAW_SIGNS.isdisjoint(saying.signs),
        "steps": [tongue.say(step.text) for step in removal_steps(saying.signs)],
        "link": link_address(applications[0]),
        "other_links": [link_address(application) for application in applications[1:]],
        "stop_link": link_address(applications[0], Link.Purpose.STOP),
        **first,
        # Where tapes differ, the most careful way is said of all: a helper's tape is nothing for the patient alone.
        "by": _most_careful(one["by"] for one in comings_off),
    }


def _each(kind: MessageKind, comings_off: Sequence[dict[str, str]], tongue: Tongue) -> str:
    """Several tapes in one text message, each with its day or who takes it off."""
    if kind is MessageKind.REMOVAL_DAY:
        said = [tongue.say("{where} {off_when}, {by_words}", **one) for one in comings_off]
    elif kind is MessageKind.REMOVAL_EVE:
        said = [f"{one['where']} {one['by_words']}" for one in comings_off]
    else:
        said = [f"{one['off']} ({one['where']})" for one in comings_off]
    return "; ".join(said)


def _coming_off(application: Application, saying: Saying) -> dict[str, str]:
    """When one tape comes off and by whom, in words."""
    visit, tongue = removal_visit_of(application), saying.tongue
    zone, today = saying.zone, saying.now.astimezone(saying.zone).date()
    local = visit.starts_at.astimezone(zone) if visit else None
    day = local.date() if local else application.removal_day
    by = Removal.CLINIC if visit else Removal(application.removal)
    helper = application.helper.call_me if application.helper else ""
    at = f"{local:%H:%M}" if local else ""
    by_words = _by_words(by, at, helper, saying)
    off_day = day_words(day, tongue)
    return {
        "where": places_together([(application.region, application.side)], tongue),
        "off_day": off_day,
        "off_when": near_day_words(day, today, tongue),
        "off_at": at,
        "by": by.value,
        "by_words": by_words,
        "helper": helper or tongue.say("your helper"),
        "off": tongue.say("{off_day}, {by_words}", off_day=off_day, by_words=by_words),
    }


def _most_careful(removers: Iterable[str]) -> str:
    order = [Removal.CLINIC.value, Removal.HELPER.value, Removal.HOME.value]
    return min(removers, key=order.index)


def _by_words(by: Removal, at: str, helper: str, saying: Saying) -> str:
    tongue = saying.tongue
    if by is Removal.HOME:
        return tongue.say("at home")
    if by is Removal.CLINIC:
        return (
            tongue.say("at the clinic at {off_at}", off_at=at)
            if at
            else tongue.say("at the clinic: call us for a time")
        )
    if isinstance(saying.recipient, Helper):
        return tongue.say("with your help")
    return tongue.say("with {helper}", helper=helper) if helper else tongue.say("with your helper")


def _still_ahead(saying: Saying, field: str) -> str:
    """ "10:20", the latest of the tapes' waits, with the day where it is another; empty where it has passed."""
    ends_at = max(one.applied_at + timedelta(minutes=getattr(one, field)) for one in saying.applications)
    if ends_at <= saying.now:
        return ""
    local, today = ends_at.astimezone(saying.zone), saying.now.astimezone(saying.zone).date()
    if local.date() == today:
        return f"{local:%H:%M}"
    return saying.tongue.say(
        "{time} {day}", time=f"{local:%H:%M}", day=near_day_words(local.date(), today, saying.tongue)
    )


def _visits(visits: Sequence[Visit], saying: Saying) -> dict[str, Any]:
    tongue, local = saying.tongue, sorted(visit.starts_at.astimezone(saying.zone) for visit in visits)
    return {
        "number": len(visits),
        "visit_when": tongue.all_of(
            [tongue.say("{day}, {time}", day=day_words(one.date(), tongue), time=f"{one:%H:%M}") for one in local]
        ),
        "visit_removes": any(visit.purpose == Visit.Purpose.REMOVAL for visit in visits),
    }


def _still_on(saying: Saying) -> list[dict[str, str]]:
    """The tapes of everybody at that address: after a STOP nothing else will say when they come off."""
    patients = {
        saying.row.patient_id,
        *patients_at(saying.row.channel, saying.row.address).values_list("pk", flat=True),
    }
    on = Application.objects.filter(patient__in=patients, ended_at=None).order_by("closes_on", "id")
    return [
        {
            "place": places_together([(one.region, one.side)], saying.tongue),
            "off_day": day_words(one.removal_day, saying.tongue),
        }
        for one in on
    ]
