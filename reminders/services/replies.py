"""A text message from a patient: what it asks for is done, what nobody understands goes to a person."""

import logging
from datetime import datetime

from django.db import transaction

from clinic.models import Patient
from clinic.models.people import Channel
from reminders.models import CallItem
from reminders.rules.replies import Reply, classify
from reminders.services.addresses import Route
from reminders.services.answers import BY_TEXT, answer_off
from reminders.services.call_list import Call, call_open
from reminders.services.stopping import patients_at, start, stop
from taping.models import Application

log = logging.getLogger(__name__)

MOST_WORDS = 2000


@transaction.atomic
def reply_receive(*, now: datetime, number: str, text: str) -> Reply:
    """Act on a text from number (E.164) that came in at now (aware); returns what it was taken for.

    STOP and START hold for everybody at the number. OFF ends a tape only where exactly one is worn by the people at
    that number; otherwise, and for any other words, somebody calls. A number nobody has is only counted in the log.
    """
    meaning = classify(text)
    route = Route(Channel.SMS.value, number)
    patients = list(patients_at(route.channel, route.address))
    if not patients:
        log.warning("A text came from a number that belongs to nobody here")
        return meaning
    if meaning is Reply.STOP:
        stop(actor=BY_TEXT, now=now, route=route)
    elif meaning is Reply.START:
        start(actor=BY_TEXT, now=now, route=route)
    elif meaning is Reply.OFF and len(worn := _worn(patients)) == 1:
        answer_off(now=now, application=worn[0], actor=BY_TEXT)
    else:
        _ask(patients, text, now)
    return meaning


def _worn(patients: list[Patient]) -> list[Application]:
    return list(Application.objects.filter(patient__in=patients, ended_at=None).select_related("patient")[:2])


def _ask(patients: list[Patient], text: str, now: datetime) -> None:
    worn = _worn(patients)
    call = Call(
        patient=worn[0].patient if worn else patients[0],
        reason=CallItem.Reason.REPLY,
        since=now,
        application=worn[0] if len(worn) == 1 else None,
        words=text.strip()[:MOST_WORDS],
    )
    call_open(actor=BY_TEXT, now=now, call=call)
