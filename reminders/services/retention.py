"""Lets go of what has been kept as long as the clinic decided."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import islice

from django.db import transaction
from django.db.models import DateTimeField, Max, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce, Greatest

from clinic.models import Clinic, Event, Patient, Visit
from clinic.rules.local_time import day_starts
from clinic.rules.retention import record_ends, years_later
from clinic.selectors import clinic_get
from clinic.services.events import ENGINE, Actor, event_record, events_let_go
from reminders.models import Lease, Message
from reminders.services.erasing import EraseRefused, erase_refusals, patient_erase
from reminders.services.leases import lease_good, lease_take
from taping.models import Application, SkinReport, SkinScreen

LEASE_NAME, LEASE_LENGTH = "retention", timedelta(hours=1)
BEGINS_AT = 3
"""The hour of the clinic's night from which the day's round is made."""

PAGE = 500
MOST_A_NIGHT = 500
"""Messages wait while records are erased; what is left over goes the next night."""

GONE = ("failed", "sent", "dropped", "missed")
_DAYS_A_MONTH = 30.44


@dataclass(slots=True)
class Retention:
    """What is due to go, or went: records by their patients' ids, messages whose words go, events.

    waiting: records whose time is over and that cannot be erased yet, with the reasons.
    """

    records: list[int]
    waiting: list[tuple[int, str]]
    messages: int
    events: int


def retention_due(clinic: Clinic, *, now: datetime) -> Retention:
    """What would go now by the clinic's periods, and nothing done. A period of 0 lets nothing go. now: aware."""
    due, waiting = [], []
    for patient in _records_over(clinic, now):
        reasons = erase_refusals(patient, now=now)
        if reasons:
            waiting.append((patient.pk, " ".join(reasons)))
        else:
            due.append(patient.pk)
    messages, events = _messages_over(clinic, now), _events_over(clinic, now)
    return Retention(due, waiting, messages.count(), events.count())


def retention_apply(clinic: Clinic, *, actor: Actor, now: datetime, most: int | None = None) -> Retention:
    """Let go of what is due: each record in a transaction of its own, so that one that fails holds up no other.

    most: how many records at a time, None for all.
    """
    done = Retention([], [], 0, 0)
    for patient in islice(_records_over(clinic, now), most):
        try:
            patient_erase(actor=actor, now=now, patient=patient)
        except EraseRefused as refused:
            done.waiting.append((patient.pk, str(refused)))
        else:
            done.records.append(patient.pk)
    done.messages = _pages(_messages_over(clinic, now), _message_words_remove)
    if done.messages:
        with transaction.atomic():
            event_record(actor=actor, verb="messages.emptied", subject=clinic, now=now, fields=["address", "text"])
    done.events = _events_remove(clinic, actor, now)
    return done


def _records_over(clinic: Clinic, now: datetime) -> Iterator[Patient]:
    """Patients whose record has been kept for its years. One whose tape is on the skin is never among them."""
    years = clinic.keep_records_years
    if not years:
        return
    today = now.astimezone(clinic.zone).date()
    cutoff = day_starts(years_later(today, -years) + timedelta(days=1), clinic.zone)
    found = (
        Patient.objects.filter(erased_at=None, created_at__lt=cutoff)
        .exclude(pk__in=Application.objects.filter(ended_at=None).values("patient"))
        .annotate(last_contact=_last_contact())
        .filter(last_contact__lt=cutoff)
        .order_by("pk")
    )
    for patient in list(found):
        last = patient.last_contact.astimezone(clinic.zone).date()
        if record_ends(last, patient.born, years) <= today:
            yield patient


def _last_contact() -> Greatest:
    """The latest of whatever took place with somebody; the time of being added where nothing did."""
    moments: list[Coalesce] = []
    for model, field in ((Visit, "ends_at"), (Application, "ended_at"), (Application, "skin_after_at"),
                         (SkinScreen, "made_at"), (SkinReport, "reported_at")):  # fmt: skip
        rows = model._default_manager.filter(patient=OuterRef("pk")).order_by().values("patient")
        latest = Subquery(rows.annotate(at=Max(field)).values("at"), output_field=DateTimeField())
        moments.append(Coalesce(latest, "created_at"))
    return Greatest("created_at", *moments)


def _messages_over(clinic: Clinic, now: datetime) -> QuerySet[Message]:
    months = clinic.keep_messages_months
    if not months:
        return Message.objects.none()
    before = now - timedelta(days=months * _DAYS_A_MONTH)
    settled = Message.objects.filter(state__in=GONE, planned_for__lt=before, settled_at__lt=before)
    return settled.exclude(text="", address="")


def _message_words_remove(ids: list[int]) -> None:
    Message.objects.filter(pk__in=ids).update(text="", address="", gateway_id="", why="")


def _pages(rows: QuerySet[Message], act: Callable[[list[int]], None]) -> int:
    count = 0
    while ids := list(rows.order_by("pk").values_list("pk", flat=True)[:PAGE]):
        act(ids)
        count += len(ids)
    return count


def _events_over(clinic: Clinic, now: datetime) -> QuerySet[Event]:
    if not clinic.keep_events_years:
        return Event.objects.none()
    return Event.objects.filter(at__lt=_events_before(clinic, now))


def _events_before(clinic: Clinic, now: datetime) -> datetime:
    return day_starts(years_later(now.astimezone(clinic.zone).date(), -clinic.keep_events_years), clinic.zone)


def _events_remove(clinic: Clinic, actor: Actor, now: datetime) -> int:
    if not clinic.keep_events_years:
        return 0
    before, count = _events_before(clinic, now), 0
    while True:
        with events_let_go(before=before):
            ids = list(Event.objects.filter(at__lt=before).order_by("at").values_list("pk", flat=True)[:PAGE])
            Event.objects.filter(pk__in=ids).delete()
        count += len(ids)
        if len(ids) < PAGE:
            break
    if count:
        with transaction.atomic():
            event_record(actor=actor, verb="events.removed", subject=clinic, now=now)
    return count


def retention_nightly(*, now: datetime, holder: str) -> Retention | None:
    """The round of the night, once a day of the clinic, by one process; None where it is not its turn. now: aware."""
    clinic = clinic_get()
    if not (clinic.keep_records_years or clinic.keep_messages_months or clinic.keep_events_years):
        return None
    local = now.astimezone(clinic.zone)
    if local.hour < BEGINS_AT:
        return None
    last = Lease.objects.filter(name=LEASE_NAME).values_list("last_good_at", flat=True).first()
    if last is not None and last.astimezone(clinic.zone).date() >= local.date():
        return None
    if not lease_take(name=LEASE_NAME, holder=holder, now=now, length=LEASE_LENGTH):
        return None
    done = retention_apply(clinic, actor=ENGINE, now=now, most=MOST_A_NIGHT)
    lease_good(name=LEASE_NAME, holder=holder, now=now)
    return done
