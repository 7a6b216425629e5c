"""STOP and START: consent is withdrawn, or given again, for everybody whose messages go to that address."""

from datetime import datetime

from django.db import transaction
from django.db.models import Max, Q, QuerySet

from clinic.models import Patient
from clinic.models.people import Channel
from clinic.selectors import recipient_of
from clinic.services.events import Actor
from clinic.services.patients import patient_consent
from reminders.models import Message
from reminders.rules.plan import plan_stop_confirmed
from reminders.services.addresses import Route, routes_of
from reminders.services.subjects import subject_of


def patients_at(channel: str, address: str) -> QuerySet[Patient]:
    """Patients whose own number or mailbox this is, or their messages' helper's."""
    if not address:
        return Patient.objects.none()
    field = "phone" if channel == Channel.SMS else "email__iexact"
    helpers = Q(helpers__gets_messages=True, **{f"helpers__{field}": address})
    return Patient.objects.filter(Q(**{field: address}) | helpers).distinct().order_by("pk")


@transaction.atomic
def stop(*, actor: Actor, now: datetime, route: Route, patient: Patient | None = None) -> list[Patient]:
    """Withdraw consent on every channel for every patient at this address, and for patient; answer once. now: aware.

    Returns the patients who had agreed until now; a second STOP finds nobody and is not answered again.
    """
    known = list(patients_at(route.channel, route.address))
    if patient is not None and patient not in known:
        known.insert(0, patient)
    stopped = [one for one in known if one.consents]
    for one in stopped:
        patient_consent(actor=actor, now=now, patient=one, consents=False)
    if stopped and route.address:
        _confirm(stopped[0], route, now)
    return stopped


def stop_by_link(*, actor: Actor, now: datetime, patient: Patient) -> list[Patient]:
    """The same from the link in a mail: for everybody at the mailbox it went to, and the patient it was about."""
    recipient = recipient_of(patient)
    routes = sorted(routes_of(recipient), key=lambda route: route.channel != Channel.EMAIL)
    route = routes[0] if routes else Route(Channel.EMAIL.value, "")
    return stop(actor=actor, now=now, route=route, patient=patient)


@transaction.atomic
def start(*, actor: Actor, now: datetime, route: Route) -> list[Patient]:
    """Give consent back to every patient at this address who had withdrawn it; returns them."""
    again = list(patients_at(route.channel, route.address).filter(consents=False, consent_withdrawn_at__isnull=False))
    for one in again:
        patient_consent(actor=actor, now=now, patient=one, consents=True)
    return again


def _confirm(patient: Patient, route: Route, now: datetime) -> None:
    planned = plan_stop_confirmed(now)
    subject = subject_of(patient)
    earlier = Message.objects.filter(subject=subject, kind=planned.kind).aggregate(last=Max("ordinal"))["last"] or 0
    Message.objects.create(
        patient=patient,
        subject=subject,
        kind=planned.kind.value,
        ordinal=earlier + 1,
        slot=earlier + 1,
        planned_for=planned.due_at,
        wake_at=planned.due_at,
        expires_at=planned.expires_at,
        reasons=list(planned.reasons),
        channel=route.channel,
        address=route.address,
    )
