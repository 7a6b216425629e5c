"""Sheets on paper: each a PDF that nothing keeps, for those who may see what stands on it."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_safe

from clinic.services.events import event_record
from clinic.views.access import STAFF, TAPERS, actor_of, clinic_of, for_roles
from reminders.rules.paper import paper_for
from reminders.selectors.record import application_get
from reminders.services.links import links_keep
from reminders.sheets.aftercare import TapeIsOff, aftercare_sheet
from reminders.sheets.hold import ScreenPermits, hold_sheets
from reminders.sheets.printing import Printed, print_html, print_together
from reminders.sheets.record import plan_sheet, record_sheet
from taping.models import Application
from taping.selectors import plan_get, screen_get


@for_roles(*STAFF)
@require_safe
def aftercare(request: HttpRequest, pk: int) -> HttpResponse:
    """What the patient takes home. A tape that is off has no such sheet; its page says so."""
    tape, clinic, now = _tape_or_404(pk), clinic_of(request), timezone.now()
    links_keep(application=tape, zone=clinic.zone)  # its code must open the page, also right after a new address
    try:
        html = aftercare_sheet(tape, clinic=clinic, now=now)
    except TapeIsOff as off:
        messages.warning(request, str(off))
        return redirect("application_page", pk)
    event_record(actor=actor_of(request), verb="sheet.printed", subject=tape, patient=tape.patient, now=now)
    return pdf_response(print_html(html, paper=paper_for(clinic.country), one_page=True), name=f"tape-{pk}")


@for_roles(*TAPERS)
@require_safe
def hold(request: HttpRequest, pk: int) -> HttpResponse:
    """What a screen that permits no tape says. A screen that permits it has no such sheet; its page says so."""
    screen, clinic, now = screen_get(pk), clinic_of(request), timezone.now()
    if screen is None:
        raise Http404
    try:
        htmls = hold_sheets(screen, clinic=clinic)
    except ScreenPermits as permits:
        messages.warning(request, str(permits))
        return redirect("screen_page", pk)
    event_record(actor=actor_of(request), verb="sheet.printed", subject=screen, patient=screen.patient, now=now)
    paper = paper_for(clinic.country)
    if len(htmls) > 1:
        printed = print_together(htmls, title=f"No tape, sheet {pk}", paper=paper)
    else:
        printed = print_html(htmls[0], paper=paper)
    return pdf_response(printed, name=f"no-tape-{pk}")


@for_roles(*TAPERS)
@require_safe
def plan(request: HttpRequest, pk: int) -> HttpResponse:
    """The strips to scale with their numbers, for the record."""
    found, clinic, now = plan_get(pk), clinic_of(request), timezone.now()
    if found is None:
        raise Http404
    html = plan_sheet(found, clinic=clinic)
    event_record(actor=actor_of(request), verb="sheet.printed", subject=found, patient=found.screen.patient, now=now)
    return pdf_response(print_html(html, paper=paper_for(clinic.country)), name=f"plan-{pk}")


@for_roles("therapist")
@require_safe
def record(request: HttpRequest, pk: int) -> HttpResponse:
    """Screen, plan, times, messages, reports and ending of one tape."""
    tape, clinic, now = _tape_or_404(pk), clinic_of(request), timezone.now()
    found = plan_get(tape.plan_id)
    if found is None:  # a tape keeps its plan for good; only a row that vanished this moment gets here
        raise Http404
    html = record_sheet(tape, found, clinic=clinic)
    event_record(actor=actor_of(request), verb="sheet.printed", subject=tape, patient=tape.patient, now=now)
    return pdf_response(print_html(html, paper=paper_for(clinic.country)), name=f"record-{pk}")


def pdf_response(printed: Printed, *, name: str) -> HttpResponse:
    """The PDF, shown by the browser. name: ASCII letters, digits and hyphens; no person's name."""
    response = HttpResponse(printed.pdf, content_type="application/pdf")
    response.headers["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    response.headers["Cache-Control"] = "no-store, private"
    return response


def _tape_or_404(pk: int) -> Application:
    tape = application_get(pk)
    if tape is None:
        raise Http404
    return tape
