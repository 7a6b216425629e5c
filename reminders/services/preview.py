"""What this clinic's text messages say and cost, with an invented patient: to be read before anybody gets one."""

from collections.abc import Iterator
from copy import copy
from dataclasses import dataclass
from datetime import datetime, timedelta

from clinic.models import Clinic, Patient, Visit
from reminders.models import Message
from reminders.rules.kinds import MessageKind
from reminders.rules.sms import Segments, segments
from reminders.services.rendering import TooLong, render
from reminders.services.wording import Saying
from taping.models import Application

NO_SEGMENTS = Segments("GSM-7", 0, 0)


@dataclass(frozen=True, slots=True)
class Preview:
    """One kind's text with its link masked, and what the whole costs; an empty text cannot be made short enough."""

    kind: str
    text: str
    cost: Segments


def text_previews(*, clinic: Clinic, now: datetime, language: str = "en") -> list[Preview]:
    """A preview of each kind that goes to patients, in the order of a tape's life. now: aware. Stores nothing.

    It speaks the language whether it is on or off: whoever is to approve it has to read it.
    """
    shown = copy(clinic)
    shown.languages = {**clinic.languages, language: {}}
    return [_preview(kind, shown, now, language) for kind in MessageKind if not kind.is_for_staff]


def _preview(kind: MessageKind, clinic: Clinic, now: datetime, language: str) -> Preview:
    patient = Patient(call_me="Ada", language=language)
    row = Message(patient=patient, kind=kind.value, subject="", planned_for=now)
    for name, value in _subject(kind, patient, clinic, now):
        setattr(row, name, value)
    try:
        words = render(Saying(row, (), patient, clinic, now), "sms")
    except TooLong:
        return Preview(kind.value, "", NO_SEGMENTS)
    return Preview(kind.value, words.kept, segments(words.text))


def _subject(kind: MessageKind, patient: Patient, clinic: Clinic, now: datetime) -> Iterator[tuple[str, object]]:
    """An invented tape on the left knee, or an invented visit, as the kind wants it."""
    if kind.value.startswith("visit_"):
        starts_at = now + timedelta(days=2)
        yield "visit", Visit(pk=0, patient=patient, starts_at=starts_at, ends_at=starts_at + timedelta(minutes=30))
    elif kind is not MessageKind.STOP_CONFIRMED:
        first = now.astimezone(clinic.zone).date()
        opens_on = first + timedelta(days=clinic.wear_first_day)
        closes_on = first + timedelta(days=clinic.wear_last_day)
        yield (
            "application",
            Application(
                pk=0, patient=patient, region="knee", side="left", applied_at=now, saved_at=now, removal="home",
                adhesion_minutes=clinic.adhesion_minutes, water_minutes=clinic.water_minutes,
                opens_on=opens_on, closes_on=closes_on, removal_day=closes_on,
            ),
        )  # fmt: skip
