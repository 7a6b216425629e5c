"""One visit: what was booked, what happened, and its calendar file."""

from datetime import datetime
from email.utils import parseaddr

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from clinic.models import Visit
from clinic.services.calendar import visit_calendar
from clinic.services.events import event_record
from clinic.services.visits import VisitRefused, visit_set_state
from clinic.views.access import STAFF, actor_of, clinic_of, for_roles
from clinic.views.posting import back_or


@for_roles(*STAFF)
@require_GET
def visit(request: HttpRequest, pk: int) -> HttpResponse:
    """What was booked, and the buttons for what can happen to it next."""
    one, now = _read(request, pk), timezone.now()
    context = {"visit": one, "begun": one.starts_at <= now, "next": back_or(request, "")}
    return render(request, "clinic/visit_page.html", context)


@for_roles(*STAFF)
@require_POST
def visit_state(request: HttpRequest, pk: int) -> HttpResponse:
    """Arrived, done, did not attend, cancelled, or booked again (state=), then back to where the button stood."""
    one = get_object_or_404(Visit.objects.select_related("patient"), pk=pk)
    state = request.POST.get("state", "")
    if state not in Visit.State.values:
        messages.error(request, "Nothing was changed: choose what happened to the visit.")
    else:
        try:
            done = visit_set_state(actor=actor_of(request), now=timezone.now(), visit=one, state=state)
            messages.success(request, f"{one.patient.full_name}: {done.get_state_display().lower()}.")
        except VisitRefused as refused:
            messages.error(request, str(refused))
    return HttpResponseRedirect(back_or(request, reverse("visit_page", args=[pk])))


@for_roles(*STAFF)
@require_GET
def calendar_file(request: HttpRequest, pk: int) -> HttpResponse:
    """The visit as a file that any calendar reads."""
    one = _read(request, pk)
    sender = parseaddr(settings.SENDER_ADDRESS)[1]
    made = visit_calendar(one, clinic=clinic_of(request), sender=sender, now=timezone.now())
    answer = HttpResponse(made.content, content_type=made.content_type)
    answer.headers["Content-Disposition"] = f'attachment; filename="visit-{_file_day(one.starts_at)}.ics"'
    return answer


def _read(request: HttpRequest, pk: int) -> Visit:
    """The visit with its people; that somebody looked at it is put on record."""
    found = Visit.objects.select_related("patient", "therapist").prefetch_related("patient__helpers")
    one = get_object_or_404(found, pk=pk)
    event_record(actor=actor_of(request), verb="patient.read", subject=one, patient=one.patient, now=timezone.now())
    return one


def _file_day(at: datetime) -> str:
    return timezone.localtime(at).date().isoformat()
