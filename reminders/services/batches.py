"""Everything a batch of claimed rows needs to know, read in a fixed number of queries."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from clinic.selectors import clinic_get
from reminders.models import Message
from reminders.rules.joining import WITHIN
from reminders.services.addresses import refused_among
from reminders.services.looking import Surroundings
from taping.models import SkinReport

_WITH = ("patient", "application__removal_visit", "application__helper", "visit")


@dataclass(frozen=True, slots=True)
class Batch:
    """Claimed rows in the order to send them, rows that may be said with one of them, and what surrounds them."""

    token: UUID
    rows: list[Message]
    near: list[Message]
    around: Surroundings


def rows_read(ids: Sequence[int]) -> list[Message]:
    """The rows with patient, helpers, application and visit as they are now, in the order of ids."""
    found = Message.objects.select_related(*_WITH).prefetch_related("patient__helpers").in_bulk(list(ids))
    rows = [found[pk] for pk in ids if pk in found]
    for row in rows:
        # One patient object for the tape and the message: what is said of one is said of the other.
        if row.application is not None:
            row.application.patient = row.patient
    return rows


def batch_read(token: UUID, ids: Sequence[int], now: datetime) -> Batch:
    """Read what was claimed under token. now: aware."""
    rows = rows_read(ids)
    near = rows_read(_near(rows, now))
    signs: dict[int, list[str]] = {}
    tapes = {row.application_id for row in (*rows, *near) if row.application_id is not None}
    for tape, reported in SkinReport.objects.filter(application__in=tapes, closed_at=None).values_list(
        "application_id", "signs"
    ):
        signs.setdefault(tape or 0, []).extend(reported)
    refused = refused_among({row.patient_id: row.patient for row in (*rows, *near)}.values())
    return Batch(token, rows, near, Surroundings(clinic_get(), refused, signs))


def _near(rows: Sequence[Message], now: datetime) -> list[int]:
    """Rows not claimed here that may be said with one that is: same patient and kind, due within the hour."""
    wanted = {(row.patient_id, row.kind) for row in rows}
    found = Message.objects.filter(
        state=Message.State.PLANNED,
        patient__in={patient for patient, _ in wanted},
        kind__in={kind for _, kind in wanted},
        wake_at__lt=now + WITHIN,
        expires_at__gt=now,
    ).values_list("pk", "patient", "kind")
    return [pk for pk, patient, kind in found if (patient, kind) in wanted]
