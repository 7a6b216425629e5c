"""Today's sheets in one paper, made one by one.

Each is made, and thrown away again, to find out whether it can be; the paper of all that can is made when it is asked
for. So nothing with a patient's address in it is ever stored, any web process on any host can make the next one, and
what one sheet does to the program is written down before it is begun. The progress page asks for the next few.
"""

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import transaction

from clinic.models import Clinic
from clinic.selectors import day_range
from clinic.services.events import Actor, event_record
from reminders.models import BatchSheet, SheetBatch
from reminders.rules.paper import paper_for
from reminders.selectors.record import application_get
from reminders.services.links import links_keep
from reminders.sheets.aftercare import TapeIsOff, aftercare_sheet
from reminders.sheets.printing import PLAIN, Fit, PaperNotAvailable, Printed, fitted, print_html, print_together
from taping.models import Application

MOST_SHEETS = 200
TURN = timedelta(seconds=1.5)
"""How long one request makes sheets before it tells how far it got."""

LOST_AFTER = timedelta(minutes=2)
"""A sheet begun longer ago was never finished: its process is gone."""

log = logging.getLogger(__name__)
State = BatchSheet.State


@dataclass(frozen=True, slots=True)
class BatchPaper:
    """The paper of a batch, the tapes that are on it, and what could not be, with the reason."""

    printed: Printed | None
    tapes: tuple[Application, ...]
    left_out: tuple[tuple[BatchSheet, str], ...]


@transaction.atomic
def batch_start(*, actor: Actor, now: datetime, kind: str, day: date, clinic: Clinic) -> SheetBatch:
    """List the tape of that day that is still on: put on that day, or coming off that day. now: aware."""
    if actor.user is None:
        raise ValueError("sheets are made by somebody who is logged in")
    batch = SheetBatch.objects.create(kind=SheetBatch.Kind(kind), day=day, made_by=actor.user, made_at=now)
    tapes = tapes_of_day(batch.kind, day, clinic)
    BatchSheet.objects.bulk_create(
        BatchSheet(batch=batch, application_id=pk, position=number)
        for number, pk in enumerate(tapes[:MOST_SHEETS], start=1)
    )
    event_record(actor=actor, verb="sheets.started", subject=batch, now=now)
    return batch


def tapes_of_day(kind: str, day: date, clinic: Clinic) -> Sequence[int]:
    """The keys of that day's tape that is on the skin, in the order in which it went on."""
    worn = Application.objects.filter(ended_at=None).order_by("applied_at", "id")
    if kind == SheetBatch.Kind.REMOVAL:
        return list(worn.filter(removal_day=day).values_list("pk", flat=True))
    start, end = day_range(day, clinic.zone)
    return list(worn.filter(applied_at__gte=start, applied_at__lt=end).values_list("pk", flat=True))


def batch_step(*, batch: SheetBatch, clinic: Clinic, clock: Callable[[], datetime]) -> None:
    """Make sheets until the turn is over, nothing waits, or somebody pressed stop. clock() returns aware UTC."""
    begun = clock()
    lost = BatchSheet.objects.filter(batch=batch, state=State.MAKING, begun_at__lt=begun - LOST_AFTER)
    lost.update(state=State.FAILED, why="It was begun and never finished. Print it alone from the page of its tape.")
    while clock() - begun < TURN:
        sheet = _take(batch, clock())
        if sheet is None:
            return
        _make(sheet, clinic, clock())


def batch_stop(*, actor: Actor, now: datetime, batch: SheetBatch) -> None:
    """No further sheet is begun; those already made stay. now: aware."""
    if SheetBatch.objects.filter(pk=batch.pk, stopped_at=None).update(stopped_at=now):
        event_record(actor=actor, verb="sheets.stopped", subject=batch, now=now)


def batch_paper(*, batch: SheetBatch, clinic: Clinic, now: datetime) -> BatchPaper:
    """One paper of all sheets that could be made and whose tape is still on. now: aware."""
    htmls: list[str] = []
    tapes: list[Application] = []
    left_out: list[tuple[BatchSheet, str]] = []
    for sheet in batch.sheets.select_related("application__patient"):
        if sheet.state != State.MADE:
            left_out.append((sheet, sheet.why or "It was not made: the batch was stopped first."))
            continue
        try:
            tape, html = _html(sheet, clinic, now)
        except TapeIsOff as off:
            left_out.append((sheet, str(off)))
            continue
        tapes.append(tape)
        htmls.append(fitted(html, Fit(sheet.tight, sheet.grown_mm)))
    title = f"Sheets of {batch.day.day} {batch.day:%B %Y}"
    printed = print_together(htmls, title=title, paper=paper_for(clinic.country)) if htmls else None
    return BatchPaper(printed, tuple(tapes), tuple(left_out))


def _take(batch: SheetBatch, now: datetime) -> BatchSheet | None:
    """The next waiting sheet, which nobody else has; None where none is left or the batch is stopped."""
    while True:
        waiting = BatchSheet.objects.filter(batch=batch, batch__stopped_at=None, state=State.WAITING)
        sheet = waiting.order_by("position").first()
        if sheet is None:
            return None
        mine = BatchSheet.objects.filter(pk=sheet.pk, state=State.WAITING)
        if mine.update(state=State.MAKING, begun_at=now):
            return sheet


def _make(sheet: BatchSheet, clinic: Clinic, now: datetime) -> None:
    """Make one sheet for itself. Whatever goes wrong is its own and stops no other."""
    try:
        _, html = _html(sheet, clinic, now)
        printed = print_html(html, paper=paper_for(clinic.country), one_page=True)
    except TapeIsOff as off:
        _settle(sheet, State.FAILED, why=str(off))
    except PaperNotAvailable:
        _settle(sheet, State.FAILED, why="A library that sets words on paper is missing on this computer.")
    except Exception:  # one bad sheet must not stop the others; it is named at the end
        log.exception("the sheet of application %s could not be made", sheet.application_id)
        _settle(sheet, State.FAILED, why="It could not be made. Open its tape and print it alone, or tell us.")
    else:
        _settle(sheet, State.MADE, fit=printed.fit)


def _settle(sheet: BatchSheet, state: State, *, why: str = "", fit: Fit = PLAIN) -> None:
    now_is = {"state": state, "why": why, "tight": fit.tight, "grown_mm": fit.grown_mm}
    BatchSheet.objects.filter(pk=sheet.pk, state=State.MAKING).update(**now_is)


def _html(sheet: BatchSheet, clinic: Clinic, now: datetime) -> tuple[Application, str]:
    tape = application_get(sheet.application_id)
    if tape is None:
        raise TapeIsOff("This tape is no longer on record.")
    links_keep(application=tape, zone=clinic.zone)
    return tape, aftercare_sheet(tape, clinic=clinic, now=now)
