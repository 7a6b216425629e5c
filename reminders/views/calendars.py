"""When tape comes off, as a file that any calendar reads."""

from datetime import datetime
from email.utils import parseaddr

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_safe

from clinic.models import Clinic
from clinic.services.events import event_record
from clinic.views.access import STAFF, actor_of, clinic_of, for_roles
from reminders.selectors.record import application_get
from reminders.services.removal_calendar import tape_calendar
from taping.models import Application


@for_roles(*STAFF)
@require_safe
def application_calendar(request: HttpRequest, pk: int) -> HttpResponse:
    """The removal day, or the visit for it, to hand on to the patient. That somebody read it is put on record."""
    tape, now = application_get(pk), timezone.now()
    if tape is None:
        raise Http404
    event_record(actor=actor_of(request), verb="patient.read", subject=tape, patient=tape.patient, now=now)
    return calendar_response(tape, clinic=clinic_of(request), now=now)


def calendar_response(tape: Application, *, clinic: Clinic, now: datetime) -> HttpResponse:
    """The file, kept by nothing on the way. now: aware."""
    made = tape_calendar(tape, clinic=clinic, sender=parseaddr(settings.SENDER_ADDRESS)[1], now=now)
    response = HttpResponse(made.content, content_type=made.content_type)
    response.headers["Content-Disposition"] = f'attachment; filename="tape-{tape.removal_day:%Y-%m-%d}.ics"'
    return response
