"""The event table's one door."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Model

from clinic.models import Event, Patient, User


@dataclass(frozen=True, slots=True)
class Actor:
    """Who acts: a member of staff, or a word such as "patient link" or "engine" where nobody is logged in."""

    user: User | None = None
    word: str = ""
    origin: str | None = None


ENGINE = Actor(word="engine")


def event_record(
    *,
    actor: Actor,
    verb: str,
    subject: Model,
    now: datetime,
    patient: Patient | None = None,
    fields: Iterable[str] = (),
) -> Event:
    """Add one event. verb is "noun.verb"; fields are names only, never values. now: aware."""
    return Event.objects.create(
        at=now,
        actor=actor.user,
        actor_word=actor.word,
        origin=actor.origin,
        verb=verb,
        subject_type=subject._meta.model_name or "",
        subject_id=str(subject.pk),
        patient=patient,
        fields=sorted(fields),
    )
