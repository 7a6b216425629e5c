"""Booking, moving, cancelling and attending visits."""

from datetime import datetime, timedelta

from django.db import IntegrityError, transaction

from clinic.models import Patient, User, Visit
from clinic.models.visits import TAKES_TIME
from clinic.services.events import Actor, event_record
from clinic.services.versions import plan_raise
from clinic.signals import visit_changing


class VisitRefused(ValueError):
    """The visit cannot be booked or moved; the text says why and what would work."""


def _refuse_overlap(therapist: User, starts_at: datetime, ends_at: datetime, leave_out: int | None) -> None:
    taken = Visit.objects.filter(
        therapist=therapist, state__in=TAKES_TIME, starts_at__lt=ends_at, ends_at__gt=starts_at
    )
    if leave_out is not None:
        taken = taken.exclude(pk=leave_out)
    if taken.exists():
        raise VisitRefused(f"{therapist.full_name} already has a visit at that time. Choose another time.")


@transaction.atomic
def visit_book(
    *, actor: Actor, now: datetime, patient: Patient, therapist: User, starts_at: datetime, visit: Visit
) -> Visit:
    """Book an unsaved visit that carries purpose, note and ends_at. Raises VisitRefused."""
    if starts_at <= now:
        raise VisitRefused("That time has already passed. Choose a later one.")
    _refuse_overlap(therapist, starts_at, visit.ends_at, None)
    visit.patient, visit.therapist, visit.starts_at = patient, therapist, starts_at
    visit.created_by, visit.created_at, visit.changed_at = actor.user, now, now
    try:
        with transaction.atomic():
            visit.save()
    except IntegrityError as taken:
        raise VisitRefused("That time was just taken. Choose another time.") from taken
    event_record(actor=actor, verb="visit.booked", subject=visit, patient=patient, now=now)
    visit_changing.send(sender=Visit, visit=visit, now=now)
    plan_raise(visit)
    return visit


@transaction.atomic
def visit_move(*, actor: Actor, now: datetime, visit: Visit, starts_at: datetime) -> Visit:
    """Move a booked visit, its length kept. Raises VisitRefused."""
    current = Visit.objects.select_for_update().get(pk=visit.pk)
    if current.state != Visit.State.BOOKED:
        raise VisitRefused(f"Only a booked visit can be moved; this one is: {current.get_state_display().lower()}.")
    if starts_at <= now:
        raise VisitRefused("That time has already passed. Choose a later one.")
    length: timedelta = current.ends_at - current.starts_at
    _refuse_overlap(current.therapist, starts_at, starts_at + length, current.pk)
    current.starts_at, current.ends_at = starts_at, starts_at + length
    current.sequence += 1
    current.changed_at = now
    try:
        with transaction.atomic():
            current.save(update_fields=["starts_at", "ends_at", "sequence", "changed_at"])
    except IntegrityError as taken:
        raise VisitRefused("That time was just taken. Choose another time.") from taken
    event_record(actor=actor, verb="visit.moved", subject=current, patient=current.patient, now=now)
    visit_changing.send(sender=Visit, visit=current, now=now)
    plan_raise(current)
    return current


@transaction.atomic
def visit_set_state(*, actor: Actor, now: datetime, visit: Visit, state: str) -> Visit:
    """Cancel, mark arrived, done or not attended. Repeating the same state changes nothing."""
    current = Visit.objects.select_for_update().get(pk=visit.pk)
    if current.state == state:
        return current
    if current.state == Visit.State.CANCELLED:
        raise VisitRefused("This visit was cancelled. Book a new one.")
    current.state = state
    current.changed_at = now
    if state == Visit.State.CANCELLED:
        current.sequence += 1
    try:
        with transaction.atomic():
            current.save(update_fields=["state", "sequence", "changed_at"])
    except IntegrityError as taken:
        raise VisitRefused("That time was given to another visit meanwhile. Book a new one.") from taken
    event_record(actor=actor, verb=f"visit.{state}", subject=current, patient=current.patient, now=now)
    visit_changing.send(sender=Visit, visit=current, now=now)
    plan_raise(current)
    return current
