"""Booking, moving, cancelling and attending visits."""

from collections.abc import Callable, Iterable
from datetime import datetime, timedelta

from django.db import IntegrityError, transaction

from clinic.models import Patient, User, Visit
from clinic.models.visits import LONGEST_VISIT, TAKES_TIME
from clinic.selectors import visits_overlapping
from clinic.services.events import Actor, event_record
from clinic.services.versions import plan_raise
from clinic.signals import visit_changing

WALK_IN = timedelta(minutes=30)
SHORTEST_WALK_IN = timedelta(minutes=5)
"""Less time than this before the therapist's next visit is no visit."""


class VisitRefused(ValueError):
    """The visit cannot be booked or moved; the text says why and what would work."""


class TimeTaken(VisitRefused):
    """The therapist has another visit at that time."""


class MovedMeanwhile(VisitRefused):
    """Somebody else moved the visit since the page was opened; current is the visit as it stands."""

    def __init__(self, current: Visit) -> None:
        super().__init__("somebody else moved this visit in the meantime")
        self.current = current


class FollowUpInstead(VisitRefused):
    """No visit of this purpose is possible any more; a follow-up at the same time is."""


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
    _or_refuse(visit.save, "That time was just taken. Choose another time.")
    _tell(visit, "visit.booked", actor, now, ())
    return visit


@transaction.atomic
def visit_move(
    *,
    actor: Actor,
    now: datetime,
    visit: Visit,
    starts_at: datetime,
    therapist: User | None = None,
    sequence: int | None = None,
) -> Visit:
    """Move a booked visit, its length kept, to another time or therapist. Raises VisitRefused.

    Moving it to where it already is changes nothing, so that nobody is told of a change twice. sequence: the one
    that whoever moves it saw; where another is stored by now, MovedMeanwhile.
    """
    current = Visit.objects.select_for_update(of=("self",)).select_related("therapist", "patient").get(pk=visit.pk)
    therapist = therapist or current.therapist
    if current.state != Visit.State.BOOKED:
        raise VisitRefused(f"Only a booked visit can be moved; this one is: {current.get_state_display().lower()}.")
    if (starts_at, therapist) == (current.starts_at, current.therapist):
        return current
    if sequence is not None and sequence != current.sequence:
        raise MovedMeanwhile(current)
    if starts_at <= now:
        raise VisitRefused("That time has already passed. Choose a later one.")
    ends_at = starts_at + (current.ends_at - current.starts_at)
    _refuse_overlap(therapist, starts_at, ends_at, current.pk)
    wanted = {"therapist": therapist, "starts_at": starts_at, "ends_at": ends_at}
    changed = [name for name, value in wanted.items() if getattr(current, name) != value]
    for name in changed:
        setattr(current, name, wanted[name])
    current.sequence += 1
    current.changed_at = now
    fields = [*changed, "sequence", "changed_at"]
    _or_refuse(lambda: current.save(update_fields=fields), "That time was just taken. Choose another time.")
    _tell(current, "visit.moved", actor, now, changed)
    return current


@transaction.atomic
def visit_walk_in(*, actor: Actor, now: datetime, patient: Patient, therapist: User) -> Visit | None:
    """A visit that begins now (aware), arrived already, and lasts WALK_IN or until the therapist's next one.

    None where the therapist is in another patient's visit: the diary holds one at a time, and the walk-in goes
    without a line of its own. Where it is this patient's own visit, that one is theirs.
    """
    User.objects.select_for_update(no_key=True).only("pk").get(pk=therapist.pk)
    starts_at = now.replace(second=0, microsecond=0)
    ends_at = starts_at + WALK_IN
    taken = visits_overlapping(therapist, starts_at, ends_at)
    first = taken.order_by("starts_at").first()
    if first is not None and first.patient_id == patient.pk:
        return first
    if first is not None:
        ends_at = first.starts_at
    if ends_at - starts_at < SHORTEST_WALK_IN:
        return None
    visit = Visit(patient=patient, therapist=therapist, starts_at=starts_at, ends_at=ends_at)
    visit.state, visit.purpose = Visit.State.ARRIVED, Visit.Purpose.TAPING
    visit.created_by, visit.created_at, visit.changed_at = actor.user, now, now
    _or_refuse(visit.save, "That time was just taken. Try again.")
    _tell(visit, "visit.walked_in", actor, now, ())
    return visit


@transaction.atomic
def visit_set_state(*, actor: Actor, now: datetime, visit: Visit, state: str) -> Visit:
    """Cancel, mark arrived, done or not attended. Repeating the same state changes nothing. Raises VisitRefused."""
    current = Visit.objects.select_for_update(of=("self",)).select_related("therapist", "patient").get(pk=visit.pk)
    if current.state == state:
        return current
    if current.state == Visit.State.CANCELLED:
        raise VisitRefused("This visit was cancelled. Book a new one.")
    if state in TAKES_TIME and current.state not in TAKES_TIME:
        _refuse_overlap(current.therapist, current.starts_at, current.ends_at, current.pk)
    current.state = Visit.State(state)
    current.changed_at = now
    if state == Visit.State.CANCELLED:
        current.sequence += 1
    fields = ["state", "sequence", "changed_at"]
    refusal = "That time was given to another visit meanwhile. Book a new one."
    _or_refuse(lambda: current.save(update_fields=fields), refusal)
    _tell(current, f"visit.{state}", actor, now, ["state"])
    return current


def _refuse_overlap(therapist: User, starts_at: datetime, ends_at: datetime, leave_out: int | None) -> None:
    """Refuse a time that is taken. Bookings of one therapist go one after the other from here to their commit.

    Without the lock two bookings of the same empty time both find it free; PostgreSQL's exclusion constraint would
    then refuse one of them, or find each waiting for the other and break off both.
    """
    User.objects.select_for_update(no_key=True).only("pk").get(pk=therapist.pk)
    if ends_at - starts_at > LONGEST_VISIT:
        raise VisitRefused("A visit takes at most 24 hours. Book several.")
    taken = visits_overlapping(therapist, starts_at, ends_at)
    if leave_out is not None:
        taken = taken.exclude(pk=leave_out)
    if taken.exists():
        raise TimeTaken(f"{therapist.full_name} already has a visit at that time. Choose another time.")


def _or_refuse(save: Callable[[], None], refusal: str) -> None:
    """Save, and say what the database's own guard against overlaps says in words."""
    try:
        with transaction.atomic():
            save()
    except IntegrityError as clash:
        if "visit_no_overlap" not in str(clash):
            raise
        raise VisitRefused(refusal) from clash


def _tell(visit: Visit, verb: str, actor: Actor, now: datetime, fields: Iterable[str]) -> None:
    event_record(actor=actor, verb=verb, subject=visit, patient=visit.patient, now=now, fields=fields)
    visit_changing.send(sender=Visit, visit=visit, now=now)
    plan_raise(visit)
