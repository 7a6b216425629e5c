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
from reminders.services.planning import message_drop, plan_application, plan_new_applications, plan_visit
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
    if clinic_is_stale(clinic):
        _pass_on_clinic(clinic, now)
    for patient in Patient.objects.filter(STALE).order_by("pk")[: 10 * PAGE]:
        _pass_on_patient(patient, now)
    # Visits first: planning one raises the version of the tapes it takes off.
    visits = (pk for page in _pages(Visit) for pk, _ in page)
    planned = sum(_alone(Visit, pk, plan_visit, clinic, now) for pk in visits)
    return planned + sum(_tapes(page, clinic, now) for page in _pages(Application))


def _tapes(page: list[tuple[int, int]], clinic: Clinic, now: datetime) -> int:
    """Plan a page of tapes: the new ones, of which there are many after an outage, together; each other by itself."""
    new = [pk for pk, planned_version in page if planned_version == 0]
    together = _together(new, clinic, now) if len(new) > 1 else set()
    alone = (pk for pk, _ in page if pk not in together)
    return len(together) + sum(_alone(Application, pk, plan_application, clinic, now) for pk in alone)


def _together(pks: list[int], clinic: Clinic, now: datetime) -> set[int]:
    try:
        return plan_new_applications(pks=pks, clinic=clinic, now=now)
    except (OperationalError, InterfaceError):
        raise
    except Exception:  # noqa: BLE001  # the one at fault is named when it is planned by itself
        log.info("New tapes are planned one by one: one of them cannot be planned")
        return set()


def clinic_is_stale(clinic: Clinic) -> bool:
    """Whether the clinic's settings changed since they were passed on; one that was never set up has none."""
    return not clinic._state.adding and clinic.plan_version != clinic.planned_version


def _pages(model: type[PlannedSubject]) -> Iterator[list[tuple[int, int]]]:
    """Stale rows by the page, as (pk, planned_version)."""
    last = 0
    rows = model._default_manager.filter(STALE).order_by("pk").values_list("pk", "planned_version")
    while page := list(rows.filter(pk__gt=last)[:PAGE]):
        yield page
        if len(page) < PAGE:
            return  # whatever was raised meanwhile is asked about again before the pass ends
        last = page[-1][0]


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
    if not _noted(clinic):
        return
    for rows in (live_applications(now), live_visits(now)):
        rows.update(plan_version=F("plan_version") + 1)


@transaction.atomic
def _pass_on_patient(patient: Patient, now: datetime) -> None:
    if not _noted(patient):
        return
    for rows in (live_applications(now), live_visits(now)):
        rows.filter(patient=patient).update(plan_version=F("plan_version") + 1)
    if patient.consents:
        answers = Message.objects.filter(patient=patient, kind=MessageKind.STOP_CONFIRMED, state__in=DROPPABLE)
        for row in answers:
            message_drop(row=row, why="agreed to reminders again", now=now)


def _noted(subject: Clinic | Patient) -> bool:
    """Note the version that was read; False where another pass has done so and passes it on."""
    unnoted = type(subject)._default_manager.filter(pk=subject.pk, planned_version=subject.planned_version)
    return bool(unnoted.update(planned_version=subject.plan_version))


def live_applications(now: datetime) -> QuerySet[Application]:
    return Application.objects.filter(Q(ended_at=None) | Q(ended_at__gt=now - STILL_TOLD))


def live_visits(now: datetime) -> QuerySet[Visit]:
    return Visit.objects.filter(starts_at__gt=now - STILL_TOLD)
