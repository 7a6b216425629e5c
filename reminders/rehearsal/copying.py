"""Copies what a rehearsal of the coming days needs, without writing to the clinic's own database."""

import sqlite3
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from urllib.parse import quote

from django.core import serializers
from django.db import connection, transaction
from django.db.models import Model, Q, QuerySet

from clinic.models import Clinic, Closure, Helper, OpeningHours, Patient, User, Visit
from reminders.models import CallItem, Link, Message, RefusedAddress
from taping.models import Application, SkinReport, SkinScreen, StripPlan

STILL_TOLD = timedelta(days=10)
"""How far back a tape's end, a visit or a message can still bear on what is said next."""


class NothingToCopy(ValueError):
    """There is no database to rehearse; the text says what to do."""


def copy_file(source: Path, target: Path) -> None:
    """Copy a SQLite database that may be in use. It is opened for reading only, so that not a byte of it changes.

    Raises NothingToCopy, sqlite3.Error.
    """
    if not source.is_file():
        raise NothingToCopy("There is no clinic here yet. Make one with: manage.py demo, or: manage.py serve")
    reading = sqlite3.connect(f"file:{quote(str(source))}?mode=ro", uri=True)
    writing = sqlite3.connect(target)
    try:
        reading.backup(writing)
    finally:
        writing.close()
        reading.close()


def copy_rows(target: Path, now: datetime) -> None:
    """Write the rows a rehearsal from now (aware) needs to a file of JSON lines, all from one moment."""
    outermost = not connection.in_atomic_block
    with transaction.atomic(), target.open("w", encoding="utf-8") as file:
        if connection.vendor == "postgresql" and outermost:
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        for rows in rows_needed(now):
            serializers.serialize("jsonl", rows.iterator(chunk_size=1000), stream=file)


def load_rows(source: Path) -> None:
    """Read such a file into the database at hand. Rows that old ones point to may be missing and are not asked for."""
    with connection.constraint_checks_disabled(), transaction.atomic(), source.open(encoding="utf-8") as file:
        for row in serializers.deserialize("jsonl", file):
            row.save()


def rows_needed(now: datetime) -> Iterator[QuerySet[Model]]:
    """What can still have a message to come, and what is said in it or decides about it. now: aware."""
    since = now - STILL_TOLD
    tapes = Application.objects.filter(Q(ended_at=None) | Q(ended_at__gte=since))
    visits = Visit.objects.filter(Q(starts_at__gte=since) | Q(removes__in=tapes) | Q(applications__in=tapes)).distinct()
    plans = StripPlan.objects.filter(Q(application__in=tapes) | Q(closed_at=None, made_at__gte=since))
    screens = SkinScreen.objects.filter(plans__in=plans).distinct()
    messages = Message.objects.filter(Q(application__in=tapes) | Q(visit__in=visits) | Q(planned_for__gte=since))
    reports = SkinReport.objects.filter(Q(application__in=tapes) | Q(closed_at=None))
    links = Link.objects.filter(application__in=tapes)
    for model in (Clinic, User, OpeningHours, Closure, Patient, Helper, RefusedAddress):
        yield model._default_manager.order_by("pk")
    for rows in (visits, screens, plans, tapes, links, reports, messages):
        yield rows.order_by("pk")
    yield CallItem.objects.filter(Q(closed_at=None) | Q(closed_at__gte=since)).order_by("pk")
