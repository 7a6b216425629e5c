"""The clinic's rolls of tape and their numbers."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_http_methods, require_POST

from clinic.views.access import actor_of, clinic_of, for_roles
from clinic.views.posting import redirect_once
from taping import selectors
from taping.drawings.readings import readings_svg
from taping.forms.rolls import ReadingsForm, RollForm
from taping.models import TapeRoll
from taping.rules.readings import unusual_readings
from taping.selectors import unit_of
from taping.services.refusals import TapingRefused
from taping.services.rolls import roll_add, roll_measure, roll_set_use

KEEPERS = ("therapist", "manager")


@for_roles(*KEEPERS)
@require_http_methods(["GET", "HEAD", "POST"])
def rolls(request: HttpRequest) -> HttpResponse:
    """Every roll with its numbers; POST enters a new one and leads on to measuring it."""
    unit, now = unit_of(clinic_of(request)), timezone.now()
    form = RollForm(request.POST if request.method == "POST" else None, unit=unit)
    if form.is_valid():
        try:
            return redirect_once(request, now, lambda: _added(request, form))
        except TapingRefused as refused:
            form.add_error(refused.field if refused.field in form.fields else None, refused.message)
    kept = list(selectors.rolls_all())
    context = {
        "form": form,
        "clinic": clinic_of(request),
        "in_use": [roll for roll in kept if roll.in_use],
        "away": [roll for roll in kept if not roll.in_use],
    }
    return render(request, "taping/roll_list.html", context, status=422 if form.errors else 200)


def _added(request: HttpRequest, form: RollForm) -> str:
    roll = roll_add(actor=actor_of(request), now=timezone.now(), roll=form.roll())
    messages.success(request, f"{roll} is in the list. Measure it now: three readings of one piece.")
    return reverse("roll_measure", args=[roll.pk])


@for_roles(*KEEPERS)
@require_http_methods(["GET", "HEAD", "POST"])
def measure(request: HttpRequest, pk: int) -> HttpResponse:
    """Three readings of one piece, with a picture of what to measure."""
    roll, unit = get_object_or_404(TapeRoll, pk=pk), unit_of(clinic_of(request))
    begun = {"paper": roll.paper_mm, "relaxed": roll.relaxed_mm, "full": roll.full_mm}
    form = ReadingsForm(request.POST if request.method == "POST" else None, unit=unit, initial=begun)
    if form.is_valid():
        try:
            return redirect_once(request, timezone.now(), lambda: _measured(request, roll, form))
        except TapingRefused as refused:
            form.add_error(refused.field if refused.field in form.fields else None, refused.message)
    context = {
        "form": form,
        "roll": roll,
        "clinic": clinic_of(request),
        # Our own SVG: nothing in it comes from outside.
        "picture": mark_safe(readings_svg()),
    }
    return render(request, "taping/roll_measure.html", context, status=422 if form.errors else 200)


def _measured(request: HttpRequest, roll: TapeRoll, form: ReadingsForm) -> str:
    measured = roll_measure(actor=actor_of(request), now=timezone.now(), roll=roll, readings=form.readings)
    messages.success(request, f"{measured} is measured. Plans that are not laid yet are reckoned with these numbers.")
    for words in unusual_readings(form.readings[0], measured.tape, unit_of(clinic_of(request))):
        messages.add_message(request, messages.WARNING, words, extra_tags="care")
    return reverse("rolls")


@for_roles(*KEEPERS)
@require_POST
def use(request: HttpRequest, pk: int) -> HttpResponse:
    """Put a roll away (away=1), or back into the choice."""
    away = request.POST.get("away") == "1"
    roll = roll_set_use(
        actor=actor_of(request), now=timezone.now(), roll=get_object_or_404(TapeRoll, pk=pk), in_use=not away
    )
    messages.success(request, f"{roll} is put away." if away else f"{roll} is in the choice again.")
    return HttpResponseRedirect(reverse("rolls"))
