"""The buttons of handing over: who takes it off, said back, a visit in the window; and the first message, live."""

from datetime import datetime

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django.utils.dateparse import parse_datetime
from django.views.decorators.http import require_POST, require_safe

from clinic.models import User, Visit
from clinic.rules.slots import FreeTime
from clinic.services.visits import VisitRefused, visit_book
from clinic.views.access import STAFF, TAPERS, actor_of, clinic_of, for_roles
from clinic.views.booking import say_where
from clinic.views.posting import redirect_once
from reminders.forms.handing_over import HandOverForm
from reminders.rules.words import place_words
from reminders.selectors.handing_over import ends_of, first_message, times_in_window
from reminders.selectors.record import application_get
from reminders.services.leaving import patient_leaves
from reminders.views.hand_over_context import first_message_context, hand_over_form
from reminders.views.handing_over import page_again
from taping.models import Application
from taping.services.handing_over import remover_settle
from taping.services.refusals import TapingRefused
from taping.services.removal_visits import removal_visit_book

LONGEST_NUMBER = 18  # digits of a row's number


def _tape_or_404(pk: int) -> Application:
    tape = application_get(pk)
    if tape is None:
        raise Http404
    return tape


@for_roles(*TAPERS)
@require_POST
def application_hand_over(request: HttpRequest, pk: int) -> HttpResponse:
    """do=settle: who takes it off, so that the first message goes. Otherwise that too, and the patient is told."""
    tape, now = _tape_or_404(pk), timezone.now()
    if tape.ended_at is not None:
        messages.error(request, "This tape is off already.")
        return redirect("application_page", pk)
    form = hand_over_form(tape, request.POST)
    if form.is_valid():
        try:
            return _handed_over(request, tape, form, now)
        except TapingRefused as refused:
            form.add_error(refused.field if refused.field in form.fields else None, refused.message)
    return page_again(request, _tape_or_404(pk), now, form)


def _handed_over(request: HttpRequest, tape: Application, form: HandOverForm, now: datetime) -> HttpResponse:
    actor = actor_of(request)
    settled = remover_settle(
        actor=actor,
        now=now,
        application=tape,
        removal=form.cleaned_data["removal"],
        answers=form.answers(),
        helper=form.chosen_helper(),
    )
    if request.POST.get("do") == "settle":
        messages.success(request, "It is on record who takes the tape off. The messages say so.")
        return redirect(f"{reverse('application_page', args=[tape.pk])}#hand-over")
    patient_leaves(
        actor=actor,
        now=now,
        application=settled,
        said_back=form.cleaned_data["said_back"],
        not_said_why=form.cleaned_data["not_said_why"],
        left_why=form.cleaned_data["left_why"],
    )
    messages.success(request, f"Handed over: {tape.patient.full_name}, {place_words(tape.region, tape.side)}.")
    return redirect("today")


@for_roles(*TAPERS)
@require_POST
def remover_reasons(request: HttpRequest, pk: int) -> HttpResponse:
    """What the answers so far come to, as a fragment. Saves nothing."""
    form = hand_over_form(_tape_or_404(pk), request.POST)
    return render(request, "reminders/_remover_reasons.html", {"decision": form.decision(), "form": form})


@for_roles(*STAFF)
@require_safe
def application_first_message(request: HttpRequest, pk: int) -> HttpResponse:
    """The state of the first message as a fragment; nothing (204) where it is still the one the page shows."""
    tape = _tape_or_404(pk)
    if request.headers.get("HX-Request") != "true":
        response: HttpResponse = redirect("application_page", pk)
    else:
        context = first_message_context(tape, first_message(tape))
        same = request.GET.get("state") == context["first_state"]
        response = HttpResponse(status=204) if same else render(request, "reminders/_first_message.html", context)
    patch_vary_headers(response, ("HX-Request",))
    return response


@for_roles(*STAFF)
@require_POST
def application_visit(request: HttpRequest, pk: int) -> HttpResponse:
    """Book one of the offered times: to take the tape off where we do that, else to look at it. Once, however often."""
    tape, now = _tape_or_404(pk), timezone.now()
    therapist = _therapist_in(request)
    start = parse_datetime(request.POST.get("start", "") or "-")
    if therapist is None or start is None or start.tzinfo is None or tape.ended_at is not None:
        messages.error(request, "Nothing was booked. Choose one of the times, or open the diary for others.")
        return redirect("application_page", pk)
    try:
        return redirect_once(request, now, lambda: _booked(request, tape, therapist, start, now))
    except (VisitRefused, TapingRefused) as refused:
        messages.error(request, str(refused))
        return redirect(f"{reverse('application_page', args=[pk])}#window-visit")


def _therapist_in(request: HttpRequest) -> User | None:
    wanted = request.POST.get("therapist", "")
    number = int(wanted) if wanted.isascii() and wanted.isdecimal() and len(wanted) < LONGEST_NUMBER else 0
    return User.objects.filter(pk=number, is_therapist=True, is_active=True).first()


def _booked(request: HttpRequest, tape: Application, therapist: User, start: datetime, now: datetime) -> str:
    zone, actor = clinic_of(request).zone, actor_of(request)
    offered = [one for day in times_in_window(tape, therapist, now=now, zone=zone) for one in day.day.times]
    if FreeTime(start, ends_of(start)) not in offered:
        raise VisitRefused("That time was just taken. Choose another time.")
    visit = Visit(ends_at=ends_of(start), purpose=Visit.Purpose.FOLLOW_UP)
    if tape.removal == Application.Removal.CLINIC:
        visit = removal_visit_book(
            actor=actor, now=now, application=tape, therapist=therapist, starts_at=start, visit=visit
        )
    else:
        visit = visit_book(
            actor=actor, now=now, patient=tape.patient, therapist=therapist, starts_at=start, visit=visit
        )
    say_where(request, "Booked", visit, zone)
    return f"{reverse('application_page', args=[tape.pk])}#window-visit"
