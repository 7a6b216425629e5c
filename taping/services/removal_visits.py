"""Keeps a tape's removal day in step with the visit at which it comes off."""

from collections.abc import Sequence
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.db import transaction

from clinic.models import Patient, User, Visit
from clinic.selectors import clinic_get
from clinic.services.events import ENGINE, Actor, event_record
from clinic.services.versions import plan_raise
from clinic.services.visits import FollowUpInstead, VisitRefused, visit_book
from taping.models import Application
from taping.rules.clock import local_date
from taping.rules.wear import spell_day
from taping.services.refusals import TapingRefused

STANDS = (Visit.State.BOOKED, Visit.State.ARRIVED, Visit.State.DONE)


def removal_visit_follow(*, visit: Visit, now: datetime) -> None:
    """Follow a visit that was booked, moved, cancelled or attended; call it inside the visit's own transaction.

    A visit to take tape off is the removal visit of every tape of the patient that may still be worn on its day.
    Raises VisitRefused where it would come after the wear window of every tape it is for: booking refuses it.
    FollowUpInstead where that window is over already: no day is left on which the tape could come off in time.
    """
    if visit.purpose != Visit.Purpose.REMOVAL:
        return
    zone = clinic_get().zone
    held = list(visit.removes.select_for_update().filter(ended_at=None))
    if visit.state not in STANDS:
        _release(held, now)
        return
    day = local_date(visit.starts_at, zone)
    if held:
        # A visit keeps the tapes it was booked for; moving it must not draw in others.
        _refuse_after(held, day, local_date(now, zone))
        wanted = held
    else:
        worn = Application.objects.select_for_update().filter(patient=visit.patient_id, ended_at=None)
        wanted = list(worn.filter(removal_visit=None))
        _refuse_after_all(wanted, day, local_date(now, zone))
    for application in wanted:
        if _fits(application, day, zone):
            _hold(application, visit, day, now)


def removal_visit_found(*, application: Application, zone: ZoneInfo) -> None:
    """Give an unsaved tape the removal visit that was already booked for the patient and belongs to no other tape."""
    booked = Visit.objects.filter(
        patient=application.patient,
        purpose=Visit.Purpose.REMOVAL,
        state=Visit.State.BOOKED,
        starts_at__gt=application.applied_at,
        removes=None,
    ).order_by("starts_at")
    for visit in booked:
        day = local_date(visit.starts_at, zone)
        if _fits(application, day, zone):
            application.removal_visit, application.removal_day = visit, day
            return


@transaction.atomic
def removal_visit_set(*, actor: Actor, now: datetime, application: Application, visit: Visit) -> Application:
    """Make visit the removal visit of this tape alone. Raises TapingRefused."""
    zone = clinic_get().zone
    day = local_date(visit.starts_at, zone)
    current = Application.objects.select_for_update().get(pk=application.pk)
    if current.ended_at is not None:
        raise TapingRefused("This tape is off already.")
    if visit.patient_id != current.patient_id:
        raise TapingRefused("That visit is another patient's.")
    if not _fits(current, day, zone):
        raise TapingRefused(_too_late([current]))
    _release(list(visit.removes.filter(ended_at=None).exclude(pk=current.pk)), now)
    _hold(current, visit, day, now, actor)
    return current


@transaction.atomic
def removal_visit_book(
    *, actor: Actor, now: datetime, application: Application, therapist: User, starts_at: datetime, visit: Visit
) -> Visit:
    """Book an unsaved visit (with ends_at) to take off this tape alone. Raises VisitRefused, TapingRefused."""
    visit.purpose = Visit.Purpose.REMOVAL
    patient: Patient = application.patient
    booked = visit_book(actor=actor, now=now, patient=patient, therapist=therapist, starts_at=starts_at, visit=visit)
    removal_visit_set(actor=actor, now=now, application=application, visit=booked)
    return booked


def _fits(application: Application, day: date, zone: ZoneInfo) -> bool:
    return local_date(application.applied_at, zone) <= day <= application.closes_on


def _refuse_after(applications: Sequence[Application], day: date, today: date) -> None:
    late = [application for application in applications if day > application.closes_on]
    if late:
        _refuse(late, today)


def _refuse_after_all(applications: Sequence[Application], day: date, today: date) -> None:
    if applications and all(day > application.closes_on for application in applications):
        _refuse(applications, today)


def _refuse(applications: Sequence[Application], today: date) -> None:
    last = max(application.closes_on for application in applications)
    if last < today:
        raise FollowUpInstead(
            f"The tape should have been off by {spell_day(last)}, so it comes off as soon as possible and not at a "
            "planned removal. Call the patient first, and book this time as a follow-up."
        )
    raise VisitRefused(_too_late(applications))


def _too_late(applications: Sequence[Application]) -> str:
    last = max(application.closes_on for application in applications)
    return f"The last day of the wear window is {spell_day(last)}. Choose a time on that day or before it."


def _hold(application: Application, visit: Visit, day: date, now: datetime, actor: Actor = ENGINE) -> None:
    if application.removal_visit_id == visit.pk and application.removal_day == day:
        return
    application.removal_visit, application.removal_day = visit, day
    _save(application, now, actor)


def _release(applications: Sequence[Application], now: datetime) -> None:
    for application in applications:
        application.removal_visit, application.removal_day = None, application.closes_on
        _save(application, now, ENGINE)


def _save(application: Application, now: datetime, actor: Actor) -> None:
    fields = ["removal_visit", "removal_day"]
    application.save(update_fields=fields)
    event_record(
        actor=actor,
        verb="application.removal_moved",
        subject=application,
        patient=application.patient,
        now=now,
        fields=fields,
    )
    plan_raise(application)
