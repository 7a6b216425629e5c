"""The event table's one door."""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import Model

from clinic.models import Event, EventDoor, Patient, User


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
    event = _event(actor, verb, subject, patient, now)
    event.fields = sorted(fields)
    event.save(force_insert=True)
    return event


def events_record(*, actor: Actor, verb: str, subjects: Sequence[tuple[Model, Patient]], now: datetime) -> None:
    """Add one event for each subject and its patient, all in one statement. now: aware."""
    Event.objects.bulk_create(_event(actor, verb, subject, patient, now) for subject, patient in subjects)


def _event(actor: Actor, verb: str, subject: Model, patient: Patient | None, now: datetime) -> Event:
    return Event(
        at=now,
        actor=actor.user,
        actor_word=actor.word,
        origin=actor.origin,
        verb=verb,
        subject_type=subject._meta.model_name or "",
        subject_id=str(subject.pk),
        patient=patient,
    )


@contextmanager
def events_let_go(*, before: datetime) -> Iterator[None]:
    """Inside, events older than before (aware) can be deleted; the database refuses that at any other time.

    One transaction: the door opens for it alone and is shut at its end, however it ends.
    """
    with transaction.atomic():
        door = EventDoor.objects.create(before=before)
        yield
        door.delete()
