"""The day on paper: for the desk the whole clinic with telephone numbers, for a therapist their own."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.views.decorators.http import require_safe

from clinic.models import User
from clinic.services.events import events_record
from clinic.views.access import STAFF, actor_of, clinic_of, for_roles, user_of
from clinic.views.booking import day_in
from clinic.views.posting import number_in
from reminders.rules.paper import paper_for
from reminders.selectors.day_list import DayList, day_list
from reminders.sheets.day_list import day_list_sheet
from reminders.sheets.printing import print_html
from reminders.views.sheets import pdf_response


@for_roles(*STAFF)
@require_safe
def day_paper(request: HttpRequest) -> HttpResponse:
    """The list of ?day= (today without it), of ?therapist= or of everybody. Whoever stands on it is put on record."""
    clinic, now = clinic_of(request), timezone.now()
    wanted = number_in(request, "therapist")
    therapist = get_object_or_404(User, pk=wanted) if wanted is not None else None
    day = day_in(request, "day") or timezone.localdate()
    listed = day_list(day, zone=clinic.zone, now=now, therapist=therapist)
    html = day_list_sheet(listed, clinic=clinic, printed_by=user_of(request), now=now)
    printed = print_html(html, paper=paper_for(clinic.country))
    _record(request, listed)
    return pdf_response(printed, name=f"day-{day:%Y-%m-%d}")


def _record(request: HttpRequest, listed: DayList) -> None:
    subjects = [
        *((row.visit, row.visit.patient) for row in listed.visits),
        *((row.tape, row.tape.patient) for row in listed.tapes),
    ]
    events_record(actor=actor_of(request), verb="day_list.printed", subjects=subjects, now=timezone.now())
