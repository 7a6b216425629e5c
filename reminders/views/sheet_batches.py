"""Today's sheets in one paper: begin, watch, stop, print."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from clinic.services.events import event_record
from clinic.views.access import STAFF, actor_of, clinic_of, for_roles
from clinic.views.posting import redirect_once
from reminders.models import BatchSheet, SheetBatch
from reminders.services.sheet_batches import batch_paper, batch_start, batch_step, batch_stop, tapes_of_day
from reminders.views.sheets import pdf_response
from taping.rules.clock import local_date

State = BatchSheet.State


@for_roles(*STAFF)
@require_http_methods(["GET", "HEAD", "POST"])
def sheets(request: HttpRequest) -> HttpResponse:
    """Which sheets there are to make today; a post begins one kind."""
    clinic, now = clinic_of(request), timezone.now()
    today = local_date(now, clinic.zone)
    kind = request.POST.get("kind", "")
    if request.method == "POST" and kind in SheetBatch.Kind.values:

        def make() -> str:
            batch = batch_start(actor=actor_of(request), now=now, kind=kind, day=today, clinic=clinic)
            return reverse("sheet_batch", args=[batch.pk])

        return redirect_once(request, now, make)
    offers = [(kind, label, len(tapes_of_day(kind, today, clinic))) for kind, label in SheetBatch.Kind.choices]
    begun = SheetBatch.objects.filter(day=today).select_related("made_by")[:10]
    return render(request, "reminders/sheets_page.html", {"offers": offers, "begun": begun, "today": today})


@for_roles(*STAFF)
@require_http_methods(["GET", "HEAD", "POST"])
def sheet_batch(request: HttpRequest, pk: int) -> HttpResponse:
    """How far the sheets are. A post makes the next few, or stops."""
    batch = get_object_or_404(SheetBatch.objects.select_related("made_by"), pk=pk)
    if request.method == "POST" and "stop" in request.POST:
        batch_stop(actor=actor_of(request), now=timezone.now(), batch=batch)
        return redirect("sheet_batch", pk)
    if request.method == "POST":
        batch_step(batch=batch, clinic=clinic_of(request), clock=timezone.now)
        batch.refresh_from_db(fields=["stopped_at"])
        if not request.headers.get("HX-Request"):
            return redirect("sheet_batch", pk)
    name = "_sheet_batch" if request.headers.get("HX-Request") else "sheet_batch"
    return render(request, f"reminders/{name}.html", _context(batch))


@for_roles(*STAFF)
@require_safe
def sheet_batch_paper(request: HttpRequest, pk: int) -> HttpResponse:
    """All sheets that could be made, in one PDF."""
    batch, clinic, now = get_object_or_404(SheetBatch, pk=pk), clinic_of(request), timezone.now()
    made = batch_paper(batch=batch, clinic=clinic, now=now)
    if made.printed is None:
        messages.warning(request, "There is no sheet to print.")
        return redirect("sheet_batch", pk)
    for tape in made.tapes:
        event_record(actor=actor_of(request), verb="sheet.printed", subject=tape, patient=tape.patient, now=now)
    return pdf_response(made.printed, name=f"sheets-{batch.day:%Y-%m-%d}-{pk}")


def _context(batch: SheetBatch) -> dict[str, Any]:
    rows = list(batch.sheets.select_related("application__patient"))
    made = sum(row.state == State.MADE for row in rows)
    waiting = 0 if batch.stopped_at else sum(row.state in (State.WAITING, State.MAKING) for row in rows)
    failed = [row for row in rows if row.state == State.FAILED]
    left = [row for row in rows if batch.stopped_at and row.state in (State.WAITING, State.MAKING)]
    return {"batch": batch, "count": len(rows), "made": made, "waiting": waiting, "failed": failed, "left": left}
