"""Working the call list, and the therapist's word on a skin report."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.views.decorators.http import require_http_methods

from clinic.services.events import event_record
from clinic.views.access import STAFF, actor_of, clinic_of, for_roles
from reminders.forms.calls import AGAIN_CHOICES, CallForm, ReportForm, form_of, off_choices
from reminders.models import CallItem
from reminders.rules.call_endings import CallEnding
from reminders.selectors.calls import call_items, call_rows
from reminders.services.call_work import BY_HAND, CallRefused, call_record, call_reopen, report_settle
from taping.models import SkinReport
from taping.rules.report_signs import SIGN_BY_KEY
from taping.services.refusals import TapingRefused
from taping.services.reports import report_grade

DONE = {
    CallEnding.SPOKE: "Recorded: you spoke with them.",
    CallEnding.NO_ANSWER: "Recorded: no answer. The call comes back later.",
    CallEnding.IS_OFF: "Recorded: the tape is off.",
    CallEnding.HAND_OVER: "Handed to a therapist.",
    CallEnding.SORTED_OUT: "Sorted out and closed.",
}


@for_roles(*STAFF)
@require_http_methods(["GET", "HEAD", "POST"])
def call_work(request: HttpRequest, pk: int) -> HttpResponse:
    """One item of the call list on a page of its own; a post records how the call ended and leads back to Today."""
    item = get_object_or_404(call_items(), pk=pk)
    now = timezone.now()
    if request.method != "POST":
        event_record(actor=actor_of(request), verb="patient.read", subject=item, patient=item.patient, now=now)
        return _call_page(request, item, CallForm(auto_id=f"%s-{pk}"), 200)
    if "open_again" in request.POST:
        return _open_again(request, item)
    form = CallForm(request.POST, auto_id=f"%s-{pk}")
    if not form.is_valid():
        return _call_page(request, item, form, 422)
    result = form.result(now=now, zone=clinic_of(request).zone)
    try:
        done = call_record(actor=actor_of(request), now=now, item=item, result=result)
    except CallRefused as refused:
        form.add_error("note" if result.what == CallEnding.SORTED_OUT else None, str(refused))
        return _call_page(request, item, form, 422)
    words = DONE[CallEnding(result.what)]
    if done.closed_how in BY_HAND:
        address = reverse("call_work", args=[pk])
        words = format_html('{} <a href="{}">Look at it, or put it back on the list</a>', words, address)
    messages.success(request, words)
    return redirect("today")


def _open_again(request: HttpRequest, item: CallItem) -> HttpResponse:
    try:
        call_reopen(actor=actor_of(request), now=timezone.now(), item=item)
    except CallRefused as refused:
        messages.error(request, str(refused))
    return redirect("call_work", item.pk)


def _call_page(request: HttpRequest, item: CallItem, form: CallForm, status: int) -> HttpResponse:
    now = timezone.now()
    row = call_rows([item], now=now)[0]
    context: dict[str, Any] = {
        "row": row,
        "by_hand": item.closed_how in BY_HAND,
        "form": form,
        "clinic": clinic_of(request),
        "again_choices": AGAIN_CHOICES,
        "off_choices": off_choices(now=now, zone=clinic_of(request).zone),
    }
    return render(request, "reminders/call_work.html", context, status=status)


@for_roles("therapist", "student")
@require_http_methods(["GET", "HEAD", "POST"])
def report_page(request: HttpRequest, pk: int) -> HttpResponse:
    """What was reported about the skin. A therapist closes it here with a finding; a student only reads."""
    report = get_object_or_404(SkinReport.objects.select_related("patient", "application", "graded_by"), pk=pk)
    now, actor = timezone.now(), actor_of(request)
    if request.method != "POST":
        event_record(actor=actor, verb="report.read", subject=report, patient=report.patient, now=now)
        return _report_page(request, report, form_of(report), 200)
    form, keep = ReportForm(request.POST), request.POST.get("do") == "keep"
    if form.is_valid():
        settle = report_grade if keep else report_settle
        try:
            settle(actor=actor, now=now, report=report, grade=form.grade())
        except TapingRefused as refused:
            form.add_error(refused.field or None, refused.message)
        else:
            return _settled(request, report, keep)
    return _report_page(request, report, form, 422)


def _settled(request: HttpRequest, report: SkinReport, keep: bool) -> HttpResponse:
    if keep:
        messages.success(request, "The finding is recorded; the report stays open, and no tape goes on there.")
        return redirect("report_page", report.pk)
    messages.success(request, "The skin report is closed.")
    return redirect("patient_page", report.patient_id)


def _report_page(request: HttpRequest, report: SkinReport, form: ReportForm, status: int) -> HttpResponse:
    signs = [SIGN_BY_KEY[key] for key in report.signs if key in SIGN_BY_KEY]
    context = {"report": report, "signs": signs, "form": form, "clinic": clinic_of(request)}
    return render(request, "reminders/report_page.html", context, status=status)
