"""What the worker of the fault tests can be told to do; runs in its process, on the clinic's own settings."""

from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from functools import wraps
from io import StringIO
from typing import Any

from django.apps import apps
from django.core.management import call_command
from django.db import connection, connections, transaction
from django.utils import timezone

from clinic.models import Clinic, Patient
from clinic.services.events import events_let_go
from reminders.models import CallItem, Message
from reminders.services import marks, running
from reminders.transports import Outgoing, Transport
from taping.models import Application
from tests.factories import ApplicationFactory, MessageFactory, PatientFactory

OURS = ("clinic", "taping", "reminders")
PLACES = ("claimed", "taking", "taken", "handing", "handed", "marking", "marked", "ending")
"""In the order in which a worker comes to them; marking and marked are about the message before."""


def warm_up() -> None:
    """Do everything once, so that a forked process begins where a worker is that has run for a while."""
    clear()
    make([{"safety": safety, "channel": channel} for safety in (True, False) for channel in ("sms", "email")])
    call_command("send_due", stdout=StringIO())
    clear()
    connections.close_all()


def obey(order: dict[str, Any]) -> dict[str, Any]:
    """Do one order and return what is to be said about it."""
    return _ORDERS[order.pop("do")](**order)


def clear() -> dict[str, Any]:
    """An empty clinic whose quiet hours are never now."""
    with events_let_go(before=timezone.now() + timedelta(days=36_500)), connection.cursor() as cursor:
        cursor.execute("DELETE FROM clinic_event")
    with transaction.atomic(), connection.cursor() as cursor:
        for table in (model._meta.db_table for model in apps.get_models() if model._meta.app_label in OURS):
            cursor.execute(f"DELETE FROM {table}")
    clinic = Clinic(name="Harbour Lane Clinic", telephone="(212) 555-0100", emergency_number="911")
    local = timezone.now().astimezone(clinic.zone)
    clinic.quiet_from, clinic.quiet_until = (local + timedelta(hours=9)).time(), (local + timedelta(hours=10)).time()
    clinic.save()
    Clinic.objects.update(planned_version=clinic.plan_version)
    return {}


@transaction.atomic
def make(messages: list[dict[str, Any]]) -> dict[str, Any]:
    """One due message each, of a tape and a patient of its own: {"safety", "channel", "both", "in_seconds"}.

    both: the patient has two tapes, and the two messages are said as one. in_seconds: when it is due, now if left out.
    """
    now = timezone.now()
    for one in messages:
        due = now + timedelta(seconds=one.get("in_seconds", 0))
        other = {"email": ""} if one["channel"] == "sms" else {"phone": "", "prefers": "email"}
        patient = PatientFactory(**other)
        for side in ("left", "right") if one.get("both") else ("left",):
            ended = {} if one["safety"] else {"ended_at": now - timedelta(hours=25), "ended_how": "off"}
            on_since = now - timedelta(days=2)
            tape = ApplicationFactory(patient=patient, applied_at=on_since, side=side, **ended)
            kind = "removal_day" if one["safety"] else "skin_follow_up"
            MessageFactory(application=tape, kind=kind, safety=one["safety"], planned_for=due)
    Application.objects.update(planned_version=1)
    Patient.objects.update(planned_version=1)
    return {"made": len(messages)}


def rows() -> dict[str, Any]:
    """Every message and every open call, as they stand in the database."""
    names = ("id", "key", "state", "safety", "attempts", "repeats", "joined_to_id", "why", "subject", "lease_until")
    found = Message.objects.order_by("id").values(*names, "settled_at", "wake_at", "expires_at")
    open_calls = CallItem.objects.filter(closed_at=None).order_by("id")
    return {"rows": list(found), "calls": list(open_calls.values_list("key", flat=True))}


def run_pass(seconds: float = 0.0, at: str = "") -> dict[str, Any]:
    """One pass of the engine at that moment, or so many seconds from now, through the ways out of the settings."""
    moment = datetime.fromisoformat(at) if at else timezone.now() + timedelta(seconds=seconds)
    report = running.run_due(lambda: moment)
    return {"sent": report.tally.sent, "calls": report.calls, "drained": report.drained, "at": moment}


def sql(statement: str) -> dict[str, Any]:
    """One statement of the test's own."""
    with connection.cursor() as cursor:
        cursor.execute(statement)
        return {"rows": cursor.rowcount}


_ORDERS: Mapping[str, Callable[..., dict[str, Any]]] = {
    "clear": clear, "make": make, "rows": rows, "pass": run_pass, "sql": sql,
}  # fmt: skip


def work(stop: Callable[[str], None]) -> None:
    """The real command, until it is killed; stop is called at each of its steps."""
    _watch(running, "claim", before="", after="claimed", stop=stop)
    _watch(running, "leftover", before="ending", after="", stop=stop)
    engine: Any = marks  # its names are exchanged from here, and only in this process
    real = engine.mark

    @wraps(real)
    def mark(*words: Any, **values: Any) -> bool:
        if values["taken"] is not None:
            stop("taking")
        if values["sent"] is not None:
            stop("marking")
        done: bool = real(*words, **values)
        if values["sent"] is not None:
            stop("marked")
        if values["taken"] is not None:
            stop("taken")
        return done

    engine.mark = mark
    passes: Any = running
    transports = passes.transports_from_settings
    passes.transports_from_settings = lambda: {
        channel: Watched(way_out, stop) for channel, way_out in transports().items()
    }
    call_command("send_due", loop=True, every=0.01, stdout=StringIO())


def _watch(module: Any, name: str, *, before: str, after: str, stop: Callable[[str], None]) -> None:
    real = getattr(module, name)

    @wraps(real)
    def watched(*words: Any, **values: Any) -> Any:
        stop(before)
        done = real(*words, **values)
        if name != "claim" or done[1]:
            stop(after)
        return done

    setattr(module, name, watched)


class Watched(Transport):
    """A way out of the product, with a place to stop at on either side of the call."""

    def __init__(self, way_out: Transport, stop: Callable[[str], None]) -> None:
        self._way_out = way_out
        self._stop = stop

    def send(self, outgoing: Outgoing) -> str:
        self._stop("handing")
        answer = self._way_out.send(outgoing)
        self._stop("handed")
        return answer

    def close(self) -> None:
        self._way_out.close()
