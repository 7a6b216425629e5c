"""The strip plan: goal, strips with their cut, and "it is on the skin now"."""

from collections.abc import Callable
from datetime import datetime

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from clinic.services.events import event_record
from clinic.views.access import TAPERS, actor_of, clinic_of, for_roles
from clinic.views.posting import redirect_once
from taping import selectors
from taping.forms.laying import FIELD_OF, LayForm
from taping.forms.strips import StripForm
from taping.models import StripPlan
from taping.services.applications import application_start
from taping.services.plans import plan_change, plan_close, strip_put, strip_remove, strips_again
from taping.services.refusals import TapingRefused
from taping.views.plan_context import PlanPage


@for_roles(*TAPERS)
@require_http_methods(["GET", "HEAD", "POST"])
def page(request: HttpRequest, pk: int) -> HttpResponse:
    """The plan. POST with do=show works a strip out, with do=add puts it into the plan."""
    plan, now = _plan_or_404(pk), timezone.now()
    done = _done(request, plan)
    if done is not None:
        return done
    made = _page_of(request, plan, now)
    if request.method != "POST":
        patient = plan.screen.patient
        event_record(actor=actor_of(request), verb="patient.read", subject=plan, patient=patient, now=now)
        return _shown(made, made.strip_form(), made.lay_form())
    form = made.strip_form(request.POST)
    if not form.is_valid():
        return _shown(made, form, made.lay_form(), status=422)
    if request.POST.get("do") == "show":
        return _shown(made, form, made.lay_form())
    try:
        return redirect_once(request, now, lambda: _put(request, plan, form, now))
    except TapingRefused as refused:
        form.add_error(refused.field if refused.field in form.fields else None, refused.message)
        return _shown(_page_of(request, _plan_or_404(pk), now), form, made.lay_form(), status=422)


def _put(request: HttpRequest, plan: StripPlan, form: StripForm, now: datetime) -> str:
    strip_put(actor=actor_of(request), now=now, plan=plan, strip=form.values, version=_version(request))
    messages.success(request, "The strip is in the plan.")
    return f"{reverse('plan_page', args=[plan.pk])}#strips"


@for_roles(*TAPERS)
@require_POST
def cut(request: HttpRequest, pk: int) -> HttpResponse:
    """The cut of what is typed so far, as a fragment. Saves nothing."""
    plan = _plan_or_404(pk)
    made = _page_of(request, plan, timezone.now())
    form = made.strip_form(request.POST)
    context = {"result": made.result_of(form), "strip_form": form, "clinic": clinic_of(request), "swap": True}
    return render(request, "taping/_cut.html", context)


@for_roles(*TAPERS)
@require_POST
def change_goal(request: HttpRequest, pk: int) -> HttpResponse:
    plan = _plan_or_404(pk)
    return _then(
        request,
        plan,
        lambda now: plan_change(
            actor=actor_of(request),
            now=now,
            plan=plan,
            values={"goal": request.POST.get("goal", "")},
            version=_version(request),
        ),
        "The goal is changed.",
    )


@for_roles(*TAPERS)
@require_POST
def remove_strip(request: HttpRequest, pk: int, position: int) -> HttpResponse:
    plan = _plan_or_404(pk)
    return _then(
        request,
        plan,
        lambda now: strip_remove(
            actor=actor_of(request), now=now, plan=plan, position=position, version=_version(request)
        ),
        "The strip is out of the plan.",
    )


@for_roles(*TAPERS)
@require_POST
def again(request: HttpRequest, pk: int) -> HttpResponse:
    """Take the strips of the last taping of this place. The screen was made anew; it is never copied."""
    plan = _plan_or_404(pk)
    screen = plan.screen
    last = selectors.last_like(screen.patient, screen.region, screen.side)
    if last is None:
        raise Http404
    return _then(
        request,
        plan,
        lambda now: strips_again(actor=actor_of(request), now=now, plan=plan, last=last, version=_version(request)),
        "The strips of the last time are in the plan. Measure the span again where it may have changed.",
    )


@for_roles(*TAPERS)
@require_POST
def on_skin(request: HttpRequest, pk: int) -> HttpResponse:
    """Record that the tape is on the skin now. Posting the same form twice makes one record."""
    plan, now = _plan_or_404(pk), timezone.now()
    made = _page_of(request, plan, now)
    form = made.lay_form(request.POST)
    if form.is_valid():
        try:
            return redirect_once(request, now, lambda: _laid(request, plan, form, now))
        except TapingRefused as refused:
            name = FIELD_OF.get(refused.field, refused.field)
            form.add_error(name if name in form.fields else None, refused.message)
    fresh = _plan_or_404(pk)
    done = _done(request, fresh)
    if done is not None:
        for words in form.non_field_errors():
            messages.error(request, str(words))
        return done
    again_made = _page_of(request, fresh, now)
    return _shown(again_made, again_made.strip_form(), form, status=422)


def _laid(request: HttpRequest, plan: StripPlan, form: LayForm, now: datetime) -> str:
    application = application_start(actor=actor_of(request), now=now, plan=plan, details=form.details())
    messages.success(request, "The tape is on record.")
    return reverse("application_page", args=[application.pk])


@for_roles(*TAPERS)
@require_POST
def close(request: HttpRequest, pk: int) -> HttpResponse:
    """Put the plan away as not taped."""
    plan = _plan_or_404(pk)
    try:
        plan_close(actor=actor_of(request), now=timezone.now(), plan=plan, why=request.POST.get("why", ""))
    except TapingRefused as refused:
        messages.error(request, refused.message)
        return HttpResponseRedirect(reverse("plan_page", args=[pk]))
    messages.success(request, "The plan is put away: not taped.")
    return HttpResponseRedirect(reverse("patient_page", args=[plan.screen.patient_id]))


def _plan_or_404(pk: int) -> StripPlan:
    plan = selectors.plan_get(pk)
    if plan is None:
        raise Http404
    return plan


def _page_of(request: HttpRequest, plan: StripPlan, now: datetime) -> PlanPage:
    return PlanPage(request, plan, now, list(selectors.rolls_in_use()))


def _shown(made: PlanPage, strip: StripForm, lay: LayForm, status: int = 200) -> HttpResponse:
    return render(made.request, "taping/plan_page.html", made.context(strip, lay), status=status)


def _done(request: HttpRequest, plan: StripPlan) -> HttpResponse | None:
    """Where a plan leads that is no draft any more: to its tape, or to the patient."""
    application = selectors.tape_of_plan(plan)
    if application is not None:
        return HttpResponseRedirect(reverse("application_page", args=[application.pk]))
    if plan.closed_at is not None:
        messages.info(request, f"That plan was put away without taping: {plan.closed_why}")
        return HttpResponseRedirect(reverse("patient_page", args=[plan.screen.patient_id]))
    return None


def _version(request: HttpRequest) -> int | None:
    text = request.POST.get("version", "")
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 10 else None


def _then(request: HttpRequest, plan: StripPlan, act: Callable[[datetime], object], done: str) -> HttpResponse:
    try:
        act(timezone.now())
    except TapingRefused as refused:
        messages.error(request, refused.message)
    else:
        messages.success(request, done)
    return HttpResponseRedirect(reverse("plan_page", args=[plan.pk]))
