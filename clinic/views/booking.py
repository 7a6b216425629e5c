"""Book and move visits: free times of one therapist, those inside the wear window first."""

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from clinic.forms.visits import BookForm, InstantField, WishForm
from clinic.models import Patient, Visit
from clinic.selectors import SEARCH_LIMIT, patients_find, therapists
from clinic.selectors_diary import BookableDay, Wish, bookable_days
from clinic.services.visits import VisitRefused, visit_book, visit_move
from clinic.templatetags.words import clock, day, minutes
from clinic.views.access import STAFF, actor_of, clinic_of, for_roles, user_of
from clinic.views.posting import back_or, number_in, redirect_once

DAYS_SHOWN = 7
WIDEST_WINDOW = 14
FIRST_DAY, LAST_DAY = date(2000, 1, 1), date(2100, 1, 1)


def day_in(request: HttpRequest, name: str) -> date | None:
    """A date of the query, year first, within reason; else None."""
    try:
        found = date.fromisoformat(request.GET.get(name, ""))
    except ValueError:
        return None
    return found if FIRST_DAY <= found <= LAST_DAY else None


def window_in(request: HttpRequest) -> tuple[date, date] | None:
    """The wear window that the query names with first= and last=."""
    first, last = day_in(request, "first"), day_in(request, "last")
    if first is None or last is None or not 0 <= (last - first).days < WIDEST_WINDOW:
        return None
    return first, last


@dataclass(frozen=True, slots=True)
class Refused:
    """Why the last try booked nothing, and the status the page answers with."""

    reasons: tuple[str, ...] = ()
    status: int = 200


NOT_REFUSED = Refused()


@for_roles(*STAFF)
@require_http_methods(["GET", "HEAD", "POST"])
def book(request: HttpRequest) -> HttpResponse:
    """Choose the patient, then a time. The time is taken once, however often the button is pressed."""
    now = timezone.now()
    if request.method == "POST":
        return _book(request, now)
    number = number_in(request, "patient")
    if number is None:
        return _choose_patient(request)
    patient = get_object_or_404(Patient, pk=number)
    return _offer(request, patient, WishForm(_wished(request, now)), now)


def _choose_patient(request: HttpRequest) -> HttpResponse:
    words = request.GET.get("q", "").strip()
    rows = list(patients_find(words)[:SEARCH_LIMIT]) if words else []
    rest = request.GET.copy()
    rest.pop("q", None)
    rest.pop("patient", None)
    context = {"words": words, "rows": rows, "rest": rest.urlencode(), "kept": rest.items()}
    return render(request, "clinic/visit_patient.html", {**context, "today": timezone.localdate()})


def _wished(request: HttpRequest, now: datetime) -> dict[str, Any]:
    """What the query asks for; what it does not say is the likeliest."""
    user = user_of(request)
    own = user.pk if user.is_therapist else None
    start = day_in(request, "day") or timezone.localdate(now)
    begin = {"therapist": own or therapists().values_list("pk", flat=True).first(), "purpose": "taping", "minutes": 30}
    asked = {name: request.GET[name] for name in begin if request.GET.get(name)}
    return {**begin, **asked, "day": max(start, timezone.localdate(now)).isoformat()}


def _offer(
    request: HttpRequest, patient: Patient, form: WishForm, now: datetime, refused: Refused = NOT_REFUSED
) -> HttpResponse:
    """The times that are free now; after a refusal with its reasons and what was typed."""
    window, today, days = window_in(request), timezone.localdate(now), list[BookableDay]()
    if form.is_valid():
        wish = Wish(form.cleaned_data["therapist"], form.cleaned_data["minutes"])
        days = offered_days(form.cleaned_data["day"] or today, window, wish, now, clinic_of(request).zone)
    rest = request.GET.copy()
    rest.pop("day", None)
    others = [one for one in days if not one.inside]
    context = {
        "form": form,
        "patient": patient,
        "window": window,
        "inside": [one for one in days if one.inside],
        "others": others,
        "later": max((one.day for one in others), default=today) + timedelta(days=1),
        "rest": rest.urlencode(),
        "back": back_or(request, ""),
        "refused": refused.reasons,
        "note": request.POST.get("note", ""),
    }
    return render(request, "clinic/visit_book.html", context, status=refused.status)


def offered_days(
    start: date, window: tuple[date, date] | None, wish: Wish, now: datetime, zone: ZoneInfo
) -> list[BookableDay]:
    """The window's days and those from start on, in order; all of them in the clinic's zone."""
    shown = {start + timedelta(days=offset) for offset in range(DAYS_SHOWN)}
    inside: set[date] = set()
    if window:
        inside = {window[0] + timedelta(days=offset) for offset in range((window[1] - window[0]).days + 1)}
    days = bookable_days(shown | inside, wish=wish, now=now, zone=zone)
    return [replace(one, inside=one.day in inside) for one in days]


def _book(request: HttpRequest, now: datetime) -> HttpResponse:
    form = BookForm(request.POST)
    if not form.is_valid():
        return _refused(request, form, now, 422, [str(text) for text in form.errors.get("starts_at", [])])
    patient, therapist = form.cleaned_data["patient"], form.cleaned_data["therapist"]

    def make() -> str:
        start, actor = form.cleaned_data["starts_at"], actor_of(request)
        visit = visit_book(
            actor=actor, now=now, patient=patient, therapist=therapist, starts_at=start, visit=form.visit()
        )
        messages.success(request, f"Booked: {day(start)} at {clock(start)} with {therapist.full_name}.")
        return back_or(request, reverse("visit_page", args=[visit.pk]))

    try:
        return redirect_once(request, now, make)
    except VisitRefused as refused:
        return _refused(request, form, now, 409, [str(refused)])


def _refused(request: HttpRequest, form: BookForm, now: datetime, status: int, reasons: list[str]) -> HttpResponse:
    patient = form.cleaned_data.get("patient")
    if patient is None:
        raise Http404
    wish = {name: form.data.get(name) for name in ("therapist", "purpose", "minutes", "day")}
    return _offer(request, patient, WishForm(wish), now, Refused(tuple(reasons), status))


@for_roles(*STAFF)
@require_http_methods(["GET", "HEAD", "POST"])
def move(request: HttpRequest, pk: int) -> HttpResponse:
    """Move a booked visit to another time of the same therapist, its length kept."""
    now = timezone.now()
    visit = get_object_or_404(Visit.objects.select_related("patient", "therapist"), pk=pk)
    if request.method != "POST":
        return _offer_move(request, visit, now)
    try:
        start = InstantField().clean(request.POST.get("starts_at"))
        visit_move(actor=actor_of(request), now=now, visit=visit, starts_at=start or now)
    except ValidationError as unreadable:
        return _offer_move(request, visit, now, Refused(tuple(unreadable.messages), 422))
    except VisitRefused as refused:
        return _offer_move(request, visit, now, Refused((str(refused),), 409))
    messages.success(request, f"Moved to {day(start)} at {clock(start)}.")
    return HttpResponseRedirect(back_or(request, reverse("visit_page", args=[pk])))


def _offer_move(request: HttpRequest, visit: Visit, now: datetime, refused: Refused = NOT_REFUSED) -> HttpResponse:
    today, length = timezone.localdate(now), visit.ends_at - visit.starts_at
    start = max(day_in(request, "day") or today, today)
    wish = Wish(visit.therapist, minutes(length), leave_out=visit.pk)
    days = offered_days(start, window_in(request), wish, now, clinic_of(request).zone)
    context = {
        "visit": visit,
        "inside": [one for one in days if one.inside],
        "others": [one for one in days if not one.inside],
        "later": start + timedelta(days=DAYS_SHOWN),
        "refused": refused.reasons,
        "back": back_or(request, ""),
    }
    return render(request, "clinic/visit_move.html", context, status=refused.status)
