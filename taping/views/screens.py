"""The skin screen: choose the place, answer, record; and what was recorded."""

from datetime import datetime
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from clinic.models import Patient
from clinic.services.events import event_record
from clinic.views.access import TAPERS, actor_of, clinic_of, for_roles
from clinic.views.posting import redirect_once
from taping import selectors
from taping.forms.screens import ScreenForm
from taping.models import SkinScreen
from taping.rules.places import REGIONS, Region, Side, View, region_words
from taping.rules.skin import QUESTIONS, About, AnswerError, Finding, Verdict
from taping.rules.skin_application import PERMITS
from taping.rules.technique import TECHNIQUES
from taping.services.plans import plan_start
from taping.services.refusals import TapingRefused
from taping.services.screens import ScreenDetails, screen_record
from taping.views.figures import figures

Place = tuple[str, str]
SIDE_WORDS = {Side.LEFT: "left", Side.RIGHT: "right", Side.MIDLINE: "middle"}


@for_roles(*TAPERS)
@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest, pk: int) -> HttpResponse:
    """Screen one region and side of a patient: ?region=&side=, and goal= where it is known already."""
    patient = get_object_or_404(Patient, pk=pk)
    now = timezone.now()
    place = _place_in(request)
    if place is None:
        event_record(actor=actor_of(request), verb="patient.read", subject=patient, patient=patient, now=now)
        return _place_page(request, patient)
    if request.method == "POST":
        return _posted(request, patient, place, now)
    event_record(actor=actor_of(request), verb="patient.read", subject=patient, patient=patient, now=now)
    earlier = selectors.screen_of_today(patient, now=now, zone=clinic_of(request).zone)
    form = ScreenForm(initial={"goal": _goal_in(request), **_person_answers(earlier)})
    return _screen_page(request, patient, place, form, earlier=earlier)


def _posted(request: HttpRequest, patient: Patient, place: Place, now: datetime) -> HttpResponse:
    form = ScreenForm(request.POST)
    if "none_of_these" in request.POST:
        return _none_of_these(request, patient, place, form)
    if form.is_valid():
        try:
            return redirect_once(request, now, lambda: _recorded(request, patient, place, form, now))
        except TapingRefused as refused:
            form.add_error(refused.field if refused.field in form.fields else None, refused.message)
    return _screen_page(request, patient, place, form, status=422)


def _none_of_these(request: HttpRequest, patient: Patient, place: Place, form: ScreenForm) -> HttpResponse:
    try:
        filled = form.none_of_these()
    except AnswerError as blocked:
        again = ScreenForm(initial=form.data.dict() if hasattr(form.data, "dict") else {})
        return _screen_page(request, patient, place, again, blocked=str(blocked), status=422)
    return _screen_page(request, patient, place, filled, filled=True)


def _recorded(request: HttpRequest, patient: Patient, place: Place, form: ScreenForm, now: datetime) -> str:
    zone = clinic_of(request).zone
    details = ScreenDetails(
        region=place[0],
        side=place[1],
        answers=form.answers(),
        goal=form.cleaned_data["goal"],
        note=form.cleaned_data["note"],
        visit=selectors.visit_of_today(patient, now=now, zone=zone),
        made_at=form.asked_at(now=now, zone=zone),
        late_reason=form.cleaned_data["late_reason"],
    )
    screen = screen_record(actor=actor_of(request), now=now, patient=patient, details=details)
    messages.success(request, f"The screen of the {region_words(*place)} is recorded.")
    return reverse("screen_page", args=[screen.pk])


@for_roles(*TAPERS)
@require_POST
def verdict(request: HttpRequest, pk: int) -> HttpResponse:
    """The verdict of what is answered so far, as a fragment. Saves nothing."""
    get_object_or_404(Patient, pk=pk)
    return render(
        request, "taping/_verdict.html", {**verdict_context(ScreenForm(request.POST).verdict()), "swap": True}
    )


@for_roles(*TAPERS)
@require_GET
def page(request: HttpRequest, pk: int) -> HttpResponse:
    """A recorded screen: the verdict, every reason with its advice, and what next."""
    screen = _screen_or_404(pk)
    now = timezone.now()
    event_record(actor=actor_of(request), verb="patient.read", subject=screen, patient=screen.patient, now=now)
    plans = list(screen.plans.select_related("application").order_by("-made_at"))
    today = selectors.screen_of_today(screen.patient, now=now, zone=clinic_of(request).zone)
    context = {
        "screen": screen,
        "permits": screen.outcome in PERMITS,
        "today": today is not None and timezone.localdate(screen.made_at) == timezone.localdate(now),
        "plan": next((plan for plan in plans if plan.closed_at is None), None),
        "urgent": [reason for reason in screen.reasons if reason.get("who")],
        "again": f"?{urlencode({'region': screen.region, 'side': screen.side, 'goal': screen.goal})}",
        "goal": TECHNIQUES[_known_goal(screen)].label if _known_goal(screen) else "",
    }
    return render(request, "taping/screen_page.html", context)


@for_roles(*TAPERS)
@require_POST
def start_plan(request: HttpRequest, pk: int) -> HttpResponse:
    """Begin the strips after a screen that permits tape, or go on with the plan that was begun."""
    screen = _screen_or_404(pk)
    try:
        plan = plan_start(actor=actor_of(request), now=timezone.now(), screen=screen)
    except TapingRefused as refused:
        messages.error(request, refused.message)
        return HttpResponseRedirect(reverse("screen_page", args=[pk]))
    return HttpResponseRedirect(reverse("plan_page", args=[plan.pk]))


def _screen_or_404(pk: int) -> SkinScreen:
    screen = selectors.screen_get(pk)
    if screen is None:
        raise Http404
    return screen


def _known_goal(screen: SkinScreen) -> Any:
    return screen.goal if screen.goal in set(TECHNIQUES) else None


def _place_in(request: HttpRequest) -> Place | None:
    region, side = request.GET.get("region", ""), request.GET.get("side", "")
    known = REGIONS.get(region)
    if known is None:
        return None
    if not side and len(known.sides) == 1:
        return region, known.sides[0].value
    return (region, side) if side in known.sides else None


def _goal_in(request: HttpRequest) -> str:
    goal = request.GET.get("goal", "")
    return goal if goal in set(TECHNIQUES) else ""


def _person_answers(earlier: SkinScreen | None) -> dict[str, str]:
    if earlier is None:
        return {}
    person = {question.key for question in QUESTIONS if question.about is About.PERSON}
    return {key: answer for key, answer in earlier.answers.items() if key in person}


def _place_page(request: HttpRequest, patient: Patient) -> HttpResponse:
    goal = _goal_in(request)

    def address(region: str, side: str) -> str:
        return f"?{urlencode({'region': region, 'side': side, 'goal': goal})}"

    def sides(region: Region) -> list[tuple[str, str, str]]:
        return [(address(region.key, side), region_words(region.key, side), SIDE_WORDS[side]) for side in region.sides]

    context = {
        "patient": patient,
        "front": figures(View.FRONT, address),
        "back": figures(View.BACK, address),
        "regions": [(region, sides(region)) for region in REGIONS.values()],
        "chosen": REGIONS.get(request.GET.get("region", "")),
    }
    return render(request, "taping/screen_place.html", context)


def _screen_page(
    request: HttpRequest, patient: Patient, place: Place, form: ScreenForm, *, status: int = 200, **more: Any
) -> HttpResponse:
    region = REGIONS[place[0]]
    context = {
        "patient": patient,
        "form": form,
        "groups": list(form.groups()),
        "place": region_words(*place),
        "region": region,
        "side": place[1],
        "query": urlencode({"region": place[0], "side": place[1]}),
        "worn": selectors.worn_at(patient, *place),
        "reports": list(selectors.reports_open(patient)),
        **verdict_context(form.verdict()),
        **more,
    }
    return render(request, "taping/screen_new.html", context, status=status)


def verdict_context(found: Verdict) -> dict[str, Any]:
    """What the verdict's fragment shows: questions that nobody answered are counted, everything else is listed."""
    unanswered = [reason for reason in found.reasons if reason.finding is Finding.OPEN and reason.answer is None]
    return {
        "verdict": found,
        "unanswered": len(unanswered),
        "first_open": unanswered[0].question if unanswered else "",
        "reasons": [reason for reason in found.reasons if reason not in unanswered],
    }
