"""Everything a batch of claimed rows needs to know, read in a fixed number of queries."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID

from clinic.selectors import clinic_get
from reminders.models import Message
from reminders.rules.joining import WITHIN
from reminders.services.addresses import routes_of
from reminders.services.due_rows import DueMessage, due_rows
from reminders.services.looking import Surroundings
from reminders.services.mail_pictures import SHOWS
from reminders.services.statements import rows_of
from taping.models import SkinReport

_WITH = ("patient", "application__removal_visit", "application__helper", "visit")


_STRIPS_ON = """
    SELECT a.id, s.place FROM taping_application a JOIN taping_strip s ON s.plan_id = a.plan_id
    WHERE a.id IN (%(ids)s) AND NOT EXISTS (SELECT 1 FROM taping_stripevent e WHERE e.application_id = a.id
        AND e.strip_id = s.id AND e.what = 'strip_off' AND e.taken_back_at IS NULL)
    ORDER BY s.position DESC
"""


@dataclass(frozen=True, slots=True)
class Full:
    """The models of some rows, the signs reported of their tapes, and what the strips lie along of each tape whose mail
    shows them."""

    rows: list[Message]
    signs: list[str]
    places: Mapping[int, Sequence[str]]


@dataclass(frozen=True, slots=True)
class Batch:
    """Claimed rows in the order to send them, rows that may be said with one of them, and what surrounds them."""

    token: UUID
    rows: list[DueMessage]
    near: list[DueMessage]
    around: Surroundings
    _full: dict[int, Message] = field(default_factory=dict)
    _signs: dict[int, list[str]] = field(default_factory=dict)

    def full(self, rows: Sequence[DueMessage]) -> Full:
        """These rows with all that words are made of. Raises KeyError.

        Read for the whole batch when the first is asked for. What has changed since the rows were read has raised
        a version, and the mark then refuses the row whatever was written.
        """
        if not self._full:
            self._full.update({row.pk: row for row in rows_read([row.pk for row in (*self.rows, *self.near)])})
            tapes = {row.application_id for row in self._full.values() if row.application_id is not None}
            reports = SkinReport.objects.filter(application__in=tapes, closed_at=None)
            for tape, reported in reports.values_list("application_id", "signs"):
                self._signs.setdefault(tape or 0, []).extend(reported)
        found = [self._full[row.pk] for row in rows]
        signs = [sign for row in found for sign in self._signs.get(row.application_id or 0, [])]
        return Full(found, signs, _places([row.application_id for row in found if row.kind in SHOWS]))


def _places(tapes: Sequence[int | None]) -> dict[int, list[str]]:
    """What the strips still on each tape lie along, the top one first.

    Read when the mail is written: a strip that comes off raises no version, since it moves no message.
    """
    found: dict[int, list[str]] = {tape: [] for tape in tapes if tape is not None}
    for tape, place in rows_of(_STRIPS_ON, {"ids": list(found)}) if found else ():
        found[tape].append(place)
    return found


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
    rows = due_rows(ids, now)
    with_others = [row for row in rows if row.has_near]
    near = due_rows(_near(with_others, now), now) if with_others else []
    refused = {
        (route.channel, route.address)
        for row in (*rows, *near)
        if row.refused_channels
        for route in routes_of(row.patient.recipient)
        if route.channel in row.refused_channels
    }
    return Batch(token, rows, near, Surroundings(clinic_get(), refused))


def _near(rows: Sequence[DueMessage], now: datetime) -> list[int]:
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
