"""Move a visit to another time or therapist, by the same chooser as booking."""

from datetime import date, datetime, timedelta
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from clinic.forms.visits import DiaryForm, MoveForm
from clinic.models import User, Visit
from clinic.selectors import therapists, visit_moved_last
from clinic.selectors.diary import DAYS_OFFERED, BookableDay, Wish, offered_days, window_of
from clinic.services.events import event_record
from clinic.services.visits import MovedMeanwhile, TimeTaken, VisitRefused, visit_move
from clinic.templatetags.words import clock, day, minutes
from clinic.views.access import STAFF, actor_of, clinic_of, for_roles
from clinic.views.booking import say_where, taken_along, window_in
from clinic.views.posting import back_or


@for_roles(*STAFF)
@require_http_methods(["GET", "HEAD", "POST"])
def move(request: HttpRequest, pk: int) -> HttpResponse:
    """Choose another time for a booked visit, its length kept; nothing happens to one that is not booked any more."""
    now = timezone.now()
    visit = get_object_or_404(Visit.objects.select_related("patient", "therapist"), pk=pk)
    staff = _staff(visit)
    if request.method == "POST":
        return _move(request, visit, staff, now)
    event_record(actor=actor_of(request), verb="patient.read", subject=visit, patient=visit.patient, now=now)
    today, zone = timezone.localdate(now), clinic_of(request).zone
    asked = {name: request.GET[name] for name in ("therapist", "day") if request.GET.get(name)}
    wish = DiaryForm({"therapist": visit.therapist_id, "day": today.isoformat(), **asked}, staff=staff, today=today)
    local = visit.starts_at.astimezone(zone)
    form = MoveForm(initial={"on": local.date(), "at": local.time()}, staff=staff, today=today, zone=zone)
    return _offer(request, visit, {"wish": wish, "form": form}, now)


def _staff(visit: Visit) -> list[User]:
    """Who may take the visit; whoever has it now stays in the list, even if they have left."""
    staff = list(therapists())
    return staff if visit.therapist in staff else [visit.therapist, *staff]


def _move(request: HttpRequest, visit: Visit, staff: list[User], now: datetime) -> HttpResponse:
    zone, today = clinic_of(request).zone, timezone.localdate(now)
    form = MoveForm(request.POST, staff=staff, today=today, zone=zone)
    page = {"form": form, "wish": DiaryForm(request.POST, staff=staff, today=today)}
    if not form.is_valid():
        return _offer(request, visit, page, now, status=422)
    start = form.cleaned_data["start"]
    if start == visit.starts_at.replace(second=0, microsecond=0):
        start = visit.starts_at  # the page writes minutes only: left as it stood, it means the very same time
    therapist = form.chosen_therapist()
    try:
        moved = visit_move(
            actor=actor_of(request),
            now=now,
            visit=visit,
            starts_at=start,
            therapist=therapist,
            sequence=form.cleaned_data["sequence"],
        )
    except MovedMeanwhile as other:
        form.time_refused(_who_moved(other.current), taken=False)
        return _offer(request, other.current, page, now, status=409)
    except VisitRefused as refused:
        form.time_refused(str(refused), taken=isinstance(refused, TimeTaken))
        return _offer(request, visit, page, now, status=422)
    say_where(request, "Moved" if moved.sequence != visit.sequence else "Left as it is", moved, zone)
    return HttpResponseRedirect(back_or(request, reverse("visit_page", args=[visit.pk])))


def _who_moved(visit: Visit) -> str:
    event = visit_moved_last(visit)
    who = event.actor.full_name if event and event.actor else "Somebody else"
    return (
        f"{who} moved this visit in the meantime, to {day(visit.starts_at)} at {clock(visit.starts_at)} with "
        f"{visit.therapist.full_name}. It stays there unless you choose a time again."
    )


def _offer(request: HttpRequest, visit: Visit, page: dict[str, Any], now: datetime, status: int = 200) -> HttpResponse:
    wish, today, days = page["wish"], timezone.localdate(now), list[BookableDay]()
    start: date = today
    if wish.is_valid():
        start = wish.cleaned_data["day"]
        therapist, length = wish.chosen_therapist(), minutes(visit.ends_at - visit.starts_at)
        stands_at = visit.starts_at if therapist == visit.therapist else None
        looked = Wish(therapist, length, leave_out=visit.pk, stands_at=stands_at)
        window = window_in(request) or window_of(visit.patient)
        days = offered_days(start, window, wish=looked, now=now, zone=clinic_of(request).zone)
    context = {
        **page,
        "visit": visit,
        "inside": [one for one in days if one.mark],
        "others": [one for one in days if not one.mark],
        **taken_along(request, wish, start + timedelta(days=DAYS_OFFERED)),
    }
    return render(request, "clinic/visit_move.html", context, status=status)
