"""Book visits: free times of one therapist, those inside the wear window first, or a time written by hand."""

from collections.abc import Mapping
from datetime import date, datetime, timedelta
from typing import Any
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from clinic.forms.visits import USUAL_MINUTES, BookForm, DiaryForm, WishForm
from clinic.models import Patient, User, Visit
from clinic.selectors import SEARCH_LIMIT, patients_find, therapists
from clinic.selectors.diary import BookableDay, Window, Wish, offered_days, openings_of, therapist_last_seen, window_of
from clinic.services.events import event_record
from clinic.services.visits import FollowUpInstead, TimeTaken, VisitRefused, visit_book
from clinic.templatetags.words import clock, day
from clinic.views.access import STAFF, actor_of, clinic_of, for_roles, user_of
from clinic.views.patients import as_date
from clinic.views.posting import back_or, number_in, redirect_once, text_in

WIDEST_WINDOW = 14
FIRST_DAY, LAST_DAY = date(2000, 1, 1), date(2100, 1, 1)
# What a look for other times takes along with it.
KEPT = ("patient", "application", "first", "last", "applied", "next")


def day_in(request: HttpRequest, name: str) -> date | None:
    """A date of the query, year first, within reason; else None."""
    try:
        found = date.fromisoformat(request.GET.get(name, ""))
    except ValueError:
        return None
    return found if FIRST_DAY <= found <= LAST_DAY else None


def window_in(request: HttpRequest) -> Window | None:
    """The wear window that the query names with first= and last=, and the day the tape went on with applied=."""
    first, last, applied = (day_in(request, name) for name in ("first", "last", "applied"))
    if first is None or last is None or not 0 <= (last - first).days < WIDEST_WINDOW:
        return None
    return Window(first, last, applied if applied and applied <= first else None)


def taken_along(request: HttpRequest, wish: DiaryForm, later: date | None) -> dict[str, Any]:
    """Template context: what each form of the page sends along, and the address of the days from later on."""
    kept = [(name, request.GET[name]) for name in KEPT if request.GET.get(name)]
    asked = [(name, wish[name].value() or "") for name in wish.fields]
    rest = [pair for pair in asked if pair[0] != "day"]
    address = f"?{urlencode([*kept, *rest, ('day', later.isoformat())])}" if later else ""
    return {"kept": kept, "here": f"?{urlencode(kept)}", "asked": asked, "later": address, "next": back_or(request, "")}


@for_roles(*STAFF)
@require_http_methods(["GET", "HEAD", "POST"])
def book(request: HttpRequest) -> HttpResponse:
    """Choose the patient, then a time. The time is taken once, however often the button is pressed."""
    now = timezone.now()
    number = number_in(request, "patient")
    if number is None:
        return _choose_patient(request)
    patient = get_object_or_404(Patient, pk=number, erased_at=None)
    staff = list(therapists())
    if request.method == "POST" and _only_looks(request):
        return HttpResponseRedirect(_looked_for(request))
    if request.method == "POST":
        return _book(request, patient, staff, now)
    event_record(actor=actor_of(request), verb="patient.read", subject=patient, patient=patient, now=now)
    today = timezone.localdate(now)
    wish = WishForm(_wished(request, patient, staff, today), staff=staff, today=today)
    form = BookForm(staff=staff, today=today, zone=clinic_of(request).zone)
    return _offer(request, {"patient": patient, "wish": wish, "form": form}, now)


def _only_looks(request: HttpRequest) -> bool:
    """Whether "Show free times" was pressed, or Enter in a field while no time is written: that books nothing."""
    written = request.POST.get("on") or request.POST.get("at")
    return "look" in request.POST or ("enter" in request.POST and not written)


def _looked_for(request: HttpRequest) -> str:
    """The address of the page with the choices of its form, as a look for free times gives it."""
    query = request.GET.copy()
    for name in WishForm.base_fields:
        query[name] = request.POST.get(name, "")
    return f"?{query.urlencode()}"


def _choose_patient(request: HttpRequest) -> HttpResponse:
    words = text_in(request, "q")
    today = timezone.localdate()
    found = patients_find(words, as_date(words, clinic_of(request).country, today))
    rows = list(found[:SEARCH_LIMIT]) if words else []
    rest = request.GET.copy()
    rest.pop("q", None)
    rest.pop("patient", None)
    context = {"words": words, "rows": rows, "rest": rest.urlencode(), "kept": rest.items()}
    return render(request, "clinic/visit_patient.html", {**context, "today": today})


def _wished(request: HttpRequest, patient: Patient, staff: list[User], today: date) -> dict[str, Any]:
    """What the query asks for; what it does not say is the likeliest."""
    window, likeliest = _window(request, patient), _likeliest(patient, user_of(request), staff)
    begin: dict[str, Any] = {"therapist": likeliest, "purpose": _usual_purpose(window).value, "minutes": USUAL_MINUTES}
    begin["day"] = today.isoformat()
    asked = {name: request.GET[name] for name in begin if request.GET.get(name)}
    asked = {**begin, **asked}
    if window and window.last < today and asked.get("purpose") == Visit.Purpose.REMOVAL:
        # No removal is booked after the window has closed; the page says so and what to do instead.
        asked["purpose"] = Visit.Purpose.FOLLOW_UP.value
    return asked


def _usual_purpose(window: Window | None) -> Visit.Purpose:
    """What somebody comes for: with tape on, to have it looked at, or taken off where that is still to be booked."""
    if window is None:
        return Visit.Purpose.TAPING
    return Visit.Purpose.REMOVAL if window.removal_to_book else Visit.Purpose.FOLLOW_UP


def _likeliest(patient: Patient, user: User, staff: list[User]) -> int | str:
    """With whom: whoever asks, where they treat; else whoever saw this patient last; else the first in the list."""
    numbers = [one.pk for one in staff]
    if user.pk in numbers:
        return user.pk
    known = therapist_last_seen(patient)
    return known if known in numbers else next(iter(numbers), "")


def _offer(request: HttpRequest, page: Mapping[str, Any], now: datetime, status: int = 200) -> HttpResponse:
    """The times that are free now; after a refusal with its reasons and everything that was typed."""
    wish, window, today = page["wish"], _window(request, page["patient"]), timezone.localdate(now)
    days: list[BookableDay] = []
    if wish.is_valid():
        looked = Wish(wish.chosen_therapist(), wish.cleaned_data["minutes"])
        days = offered_days(wish.cleaned_data["day"], window, wish=looked, now=now, zone=clinic_of(request).zone)
    ends = bool(window and wish.data.get("purpose") == Visit.Purpose.REMOVAL)
    others = [one for one in days if not one.mark and not (ends and window and one.day > window.last)]
    context = {
        **page,
        "therapists": bool(wish.staff),
        "window": window,
        "closed_since": window.last if window and window.last < today else None,
        "ends": ends,
        "inside": [one for one in days if one.mark],
        "others": others,
        **taken_along(request, wish, others[-1].day + timedelta(days=1) if others and not ends else None),
    }
    return render(request, "clinic/visit_book.html", context, status=status)


def _window(request: HttpRequest, patient: Patient) -> Window | None:
    """The window that the address names, else that of the tape the patient wears."""
    return window_in(request) or window_of(patient)


def _book(request: HttpRequest, patient: Patient, staff: list[User], now: datetime) -> HttpResponse:
    zone, today = clinic_of(request).zone, timezone.localdate(now)
    form = BookForm(request.POST, staff=staff, today=today, zone=zone)
    page: dict[str, Any] = {"patient": patient, "form": form, "wish": WishForm(request.POST, staff=staff, today=today)}
    if not form.is_valid():
        return _offer(request, page, now, status=422)

    def make() -> str:
        visit = visit_book(
            actor=actor_of(request),
            now=now,
            patient=patient,
            therapist=form.chosen_therapist(),
            starts_at=form.cleaned_data["start"],
            visit=form.visit(),
        )
        say_where(request, "Booked", visit, zone)
        return back_or(request, reverse("visit_page", args=[visit.pk]))

    try:
        return redirect_once(request, now, make)
    except VisitRefused as refused:
        form.time_refused(str(refused), taken=isinstance(refused, TimeTaken))
        if isinstance(refused, FollowUpInstead):
            # Every button of the page now books what it says: a follow-up.
            wanted = request.POST.copy()
            wanted["purpose"] = Visit.Purpose.FOLLOW_UP.value
            page |= {"instead": form.cleaned_data["start"], "wish": WishForm(wanted, staff=staff, today=today)}
        return _offer(request, page, now, status=422)


def say_where(request: HttpRequest, word: str, visit: Visit, zone: ZoneInfo) -> None:
    """Tell when and with whom, and what is out of the ordinary about it."""
    start = visit.starts_at
    messages.success(request, f"{word}: {day(start)} at {clock(start)} with {visit.therapist.full_name}.")
    local = start.astimezone(zone).date()
    unusual = openings_of(visit.therapist, local, local).why_unusual(start, visit.ends_at, zone)
    if unusual:
        messages.warning(request, f"Mind that this time is out of the ordinary ({unusual}).")
