"""Finds what has changed since its messages were planned, and plans it anew, each subject by itself."""

import logging
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Protocol

from django.db import InterfaceError, OperationalError, transaction
from django.db.models import F, Q, QuerySet

from clinic.models import Clinic, Patient, Visit
from clinic.models.planned import PlannedSubject
from clinic.selectors import clinic_get
from reminders.models import Message
from reminders.rules.kinds import MessageKind
from reminders.rules.outbox import DROPPABLE
from reminders.services.planning import message_drop, plan_application, plan_visit
from taping.models import Application

log = logging.getLogger(__name__)

PAGE = 200
STILL_TOLD = timedelta(days=4)
"""How long after its end a tape, or after its time a visit, can still have a message to come."""

STALE = ~Q(plan_version=F("planned_version"))
_told: set[tuple[str, int, int]] = set()


class Plan(Protocol):
    """Plans the messages of one subject; False where it was not its turn."""

    def __call__(self, *, pk: int, clinic: Clinic, now: datetime) -> bool: ...


def reconcile(now: datetime) -> int:
    """Plan every subject whose version was raised; returns how many. now: aware.

    Stale rows are read outside a transaction and planned in one each. A subject that cannot be planned stays stale,
    is named in the log once a version, and holds up no other.
    """
    clinic = clinic_get()
    if clinic.pk is not None and clinic.plan_version != clinic.planned_version:
        _pass_on_clinic(clinic, now)
    for patient in Patient.objects.filter(STALE).order_by("pk")[: 10 * PAGE]:
        _pass_on_patient(patient, now)
    # Visits first: planning one raises the version of the tapes it takes off.
    planned = sum(_alone(Visit, pk, plan_visit, clinic, now) for pk in _stale(Visit))
    return planned + sum(_alone(Application, pk, plan_application, clinic, now) for pk in _stale(Application))


def _stale(model: type[PlannedSubject]) -> Iterator[int]:
    last = 0
    while page := list(_rows(model).filter(pk__gt=last).order_by("pk").values_list("pk", flat=True)[:PAGE]):
        yield from page
        last = page[-1]


def _rows(model: type[PlannedSubject]) -> QuerySet[PlannedSubject]:
    return model._default_manager.filter(STALE)


def _alone(model: type[PlannedSubject], pk: int, plan: Plan, clinic: Clinic, now: datetime) -> bool:
    try:
        return plan(pk=pk, clinic=clinic, now=now)
    except (OperationalError, InterfaceError):
        raise
    except Exception:  # noqa: BLE001  # whatever is wrong with this one, the next one's messages must go
        _tell_once(model, pk)
        return False


def _tell_once(model: type[PlannedSubject], pk: int) -> None:
    version = model._default_manager.filter(pk=pk).values_list("plan_version", flat=True).first() or 0
    key = (model.__name__, pk, version)
    if key not in _told:
        _told.add(key)
        log.exception("The messages of %s %s cannot be planned", model.__name__.lower(), pk)


@transaction.atomic
def _pass_on_clinic(clinic: Clinic, now: datetime) -> None:
    """Raise the version of everything that may still have a message to come; each is then planned by itself."""
    for rows in (_live_applications(now), _live_visits(now)):
        rows.update(plan_version=F("plan_version") + 1)
    Clinic.objects.filter(pk=clinic.pk).update(planned_version=clinic.plan_version)


@transaction.atomic
def _pass_on_patient(patient: Patient, now: datetime) -> None:
    for rows in (_live_applications(now), _live_visits(now)):
        rows.filter(patient=patient).update(plan_version=F("plan_version") + 1)
    if patient.consents:
        answers = Message.objects.filter(patient=patient, kind=MessageKind.STOP_CONFIRMED, state__in=DROPPABLE)
        for row in answers:
            message_drop(row=row, why="agreed to reminders again", now=now)
    Patient.objects.filter(pk=patient.pk).update(planned_version=patient.plan_version)


def _live_applications(now: datetime) -> QuerySet[Application]:
    return Application.objects.filter(Q(ended_at=None) | Q(ended_at__gt=now - STILL_TOLD))


def _live_visits(now: datetime) -> QuerySet[Visit]:
    return Visit.objects.filter(starts_at__gt=now - STILL_TOLD)
