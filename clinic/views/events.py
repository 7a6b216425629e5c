"""The event log, for managers: who did or read what, when, from where."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST, require_safe

from clinic.forms.events import EventForm
from clinic.models import Event, Patient
from clinic.rules.event_words import event_words
from clinic.selectors.events import events_after, events_find, record_seen, who_words
from clinic.services.events import event_record
from clinic.services.exports import csv_lines
from clinic.views.access import actor_of, clinic_of, for_roles
from clinic.views.posting import number_in

ROWS = 50
HEADINGS = ("at", "who", "event", "in words", "patient number", "about", "number", "fields", "from")


@for_roles("manager")
@require_GET
def events(request: HttpRequest) -> HttpResponse:
    """A page of events, the newest first; the query holds what is looked for and the event after which it goes on."""
    form = EventForm(request.GET)
    found = form.is_valid()
    context: dict[str, Any] = {"form": form, "rows": [], "more": False}
    if found:
        clinic = clinic_of(request)
        asked = sorted(name for name, value in form.cleaned_data.items() if value)
        event_record(actor=actor_of(request), verb="events.read", subject=clinic, now=timezone.now(), fields=asked)
        before = number_in(request, "after")
        rows, more = events_after(events_find(form.wanted(), clinic.zone), before, ROWS)
        context |= {
            "rows": [{"event": row, "who": who_words(row), "what": event_words(row.verb)} for row in rows],
            "more": more,
            "goes_on": bool(before),
            "rest": _query(request),
            "last": rows[-1].pk if rows else None,
            "asked": asked,
        }
    return render(request, "clinic/event_list.html", context, status=200 if found else 422)


def _query(request: HttpRequest) -> str:
    """The query as it is, without the place in the list."""
    query = request.GET.copy()
    query.pop("after", None)
    return query.urlencode()


@for_roles("manager")
@require_POST
def events_export(request: HttpRequest) -> HttpResponseBase:
    """Every event that is looked for, as a file; that it was taken is an event itself."""
    form = EventForm(request.POST)
    if not form.is_valid():
        return HttpResponseRedirect(reverse("events"))
    clinic = clinic_of(request)
    asked = sorted(name for name, value in form.cleaned_data.items() if value)
    event_record(actor=actor_of(request), verb="events.exported", subject=clinic, now=timezone.now(), fields=asked)
    lines = csv_lines(HEADINGS, _cells(events_find(form.wanted(), clinic.zone), clinic.zone), ",")
    answer = StreamingHttpResponse(lines, content_type="text/csv; charset=utf-8")
    answer.headers["Content-Disposition"] = 'attachment; filename="events.csv"'
    return answer


def _cells(found: QuerySet[Event], zone: ZoneInfo) -> Iterator[list[str]]:
    for event in found.iterator(chunk_size=1000):
        yield [
            _clock(event.at, zone), who_words(event), event.verb, event_words(event.verb), str(event.patient_id or ""),
            event.subject_type, event.subject_id, " ".join(event.fields), event.origin or "",
        ]  # fmt: skip


def _clock(at: datetime, zone: ZoneInfo) -> str:
    return at.astimezone(zone).isoformat(timespec="seconds")


@for_roles("manager")
@require_safe
def patient_seen(request: HttpRequest, pk: int) -> HttpResponse:
    """Who saw or changed one patient's record: a page to be printed and handed to the patient."""
    patient = get_object_or_404(Patient, pk=pk)
    clinic, now = clinic_of(request), timezone.now()
    sights, more = record_seen(patient, clinic.zone)
    event_record(actor=actor_of(request), verb="patient.seen_read", subject=patient, patient=patient, now=now)
    context = {"patient": patient, "clinic": clinic, "sights": sights, "more": more, "now": now}
    return render(request, "clinic/patient_seen.html", context)
