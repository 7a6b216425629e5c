"""The strip plan: goal, strips with their cut, and "it is on the skin now"."""

from collections.abc import Callable, Collection
from datetime import datetime
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
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
from taping.rules.technique import technique_for
from taping.services.applications import application_start
from taping.services.plans import (
    PlanChanged,
    plan_again,
    plan_change,
    plan_close,
    strip_put,
    strip_remove,
    strips_again,
    why_not_laid,
)
from taping.services.refusals import TapingRefused
from taping.views.plan_context import PlanPage, differing
from taping.views.plan_typed import STRIP_NAMES, TAUGHT_NAMES, position_in, typed_keep, typed_take


@for_roles(*TAPERS)
@require_http_methods(["GET", "HEAD", "POST"])
def page(request: HttpRequest, pk: int) -> HttpResponse:
    """The plan. POST with do=show works a strip out, do=add puts it into the plan, edit=n takes strip n up again."""
    plan, now = _plan_or_404(pk), timezone.now()
    done = _done(request, plan)
    if done is not None:
        return done
    made = _page_of(request, plan, now)
    if request.method != "POST":
        patient = plan.screen.patient
        event_record(actor=actor_of(request), verb="patient.read", subject=plan, patient=patient, now=now)
        return _opened(made)
    if "edit" in request.POST:
        return _edited(made)
    form, lay = made.strip_form(request.POST), made.lay_form(typed=request.POST)
    if not form.is_valid():
        return _shown(made, form, lay, status=422)
    if request.POST.get("do") != "add":
        return _shown(made, form, lay)
    try:
        return redirect_once(request, now, lambda: _put(request, plan, form, now))
    except TapingRefused as refused:
        form.add_error(refused.field if refused.field in form.fields else None, refused.message)
        return _refused(_page_of(request, _plan_or_404(pk), now), form, None, refused)


def _opened(made: PlanPage) -> HttpResponse:
    typed = typed_take(made.request, made.plan)
    form = made.strip_form(typed=typed)
    if typed.get("span"):
        form = made.strip_form({name: form[name].value() for name in form.fields})
    return _shown(made, form, made.lay_form(typed=typed), position=position_in(typed))


def _edited(made: PlanPage) -> HttpResponse:
    position = position_in({"position": made.request.POST["edit"]})
    strip = next((row.strip for row in made.strips if row.strip.position == position), None)
    if strip is None:
        messages.error(made.request, "That strip is no longer in the plan.")
        return HttpResponseRedirect(reverse("plan_page", args=[made.plan.pk]))
    begun = made.strip_form(strip=strip)
    form = made.strip_form({name: begun[name].value() for name in begun.fields})
    return _shown(made, form, made.lay_form(typed=made.request.POST), position=position)


def _put(request: HttpRequest, plan: StripPlan, form: StripForm, now: datetime) -> str:
    actor, position = actor_of(request), position_in(request.POST)
    strip_put(actor=actor, now=now, plan=plan, strip=form.values, version=_version(request), position=position)
    words = _words(request, plan)
    if words:
        plan_change(actor=actor, now=now, plan=plan, values=words)
    typed_keep(request, plan, without=STRIP_NAMES)
    messages.success(request, f"Strip {position} is changed." if position else "The strip is in the plan.")
    return f"{reverse('plan_page', args=[plan.pk])}#strips"


def _words(request: HttpRequest, plan: StripPlan) -> dict[str, str]:
    """Posture and reason as typed, where they are more than what the page itself suggested; unreadable ones stay."""
    suggested = {"", technique_for(plan.goal).label.capitalize()}
    try:
        typed = _typed_words(request)
    except ValidationError:
        return {}
    return {name: words for name, words in typed.items() if words not in suggested}


def _typed_words(request: HttpRequest) -> dict[str, str]:
    fields = LayForm.base_fields
    return {name: fields[name].clean(request.POST[name]) for name in ("posture", "reason") if name in request.POST}


@for_roles(*TAPERS)
@require_POST
def cut(request: HttpRequest, pk: int) -> HttpResponse:
    """The cut of what is typed so far, as a fragment. Saves nothing."""
    plan = selectors.plan_for_cut(pk)
    if plan is None:
        raise Http404
    made = _page_of(request, plan, timezone.now())
    form = made.strip_form(request.POST)
    result = made.result_of(form)
    # As when it is added: an error that stands beside the piece follows what is typed.
    for words in why_not_laid(form.worked, made.unit) if form.worked else ():
        form.add_error("paper", words)
    context = {"result": result, "strip_form": form, "clinic": clinic_of(request), "swap": True}
    return render(request, "taping/_cut.html", context)


@for_roles(*TAPERS)
@require_POST
def change_goal(request: HttpRequest, pk: int) -> HttpResponse:
    """Another goal: its suggestions take the place of the old ones, and what was measured or typed stays."""
    values = {"goal": request.POST.get("goal", "")}
    return _then(
        request,
        pk,
        lambda plan, now: plan_change(
            actor=actor_of(request), now=now, plan=plan, values=values, version=_version(request)
        ),
        "The goal is changed. What is suggested for it stands below; the span is kept.",
        without=TAUGHT_NAMES,
    )


@for_roles(*TAPERS)
@require_POST
def keep_words(request: HttpRequest, pk: int) -> HttpResponse:
    """Save posture and reason with the draft."""
    try:
        values = _typed_words(request)
    except ValidationError as unusable:
        messages.error(request, " ".join(unusable.messages))
        typed_keep(request, _plan_or_404(pk))
        return HttpResponseRedirect(reverse("plan_page", args=[pk]))
    return _then(
        request,
        pk,
        lambda plan, now: plan_change(
            actor=actor_of(request), now=now, plan=plan, values=values, version=_version(request)
        ),
        "Posture and reason are saved with the plan.",
    )


@for_roles(*TAPERS)
@require_POST
def remove_strip(request: HttpRequest, pk: int, position: int) -> HttpResponse:
    return _then(
        request,
        pk,
        lambda plan, now: strip_remove(
            actor=actor_of(request), now=now, plan=plan, position=position, version=_version(request)
        ),
        "The strip is out of the plan.",
    )


@for_roles(*TAPERS)
@require_POST
def again(request: HttpRequest, pk: int) -> HttpResponse:
    """Take the strips of the last taping of this place. The screen was made anew; it is never copied."""
    screen = _plan_or_404(pk).screen
    last = selectors.last_like(screen.patient, screen.region, screen.side)
    if last is None:
        raise Http404
    return _then(
        request,
        pk,
        lambda plan, now: strips_again(
            actor=actor_of(request), now=now, plan=plan, last=last, version=_version(request)
        ),
        "The strips of the last time are in the plan. Measure the span again where it may have changed.",
    )


@for_roles(*TAPERS)
@require_POST
def use_last(request: HttpRequest, pk: int) -> HttpResponse:
    """From a recorded screen straight to the plan of last time."""
    screen = selectors.screen_get(pk)
    last = selectors.last_like(screen.patient, screen.region, screen.side) if screen is not None else None
    if screen is None or last is None:
        raise Http404
    try:
        plan = plan_again(actor=actor_of(request), now=timezone.now(), screen=screen, last=last)
    except TapingRefused as refused:
        messages.error(request, refused.message)
        return HttpResponseRedirect(reverse("screen_page", args=[pk]))
    return HttpResponseRedirect(f"{reverse('plan_page', args=[plan.pk])}#strips")


@for_roles(*TAPERS)
@require_POST
def on_skin(request: HttpRequest, pk: int) -> HttpResponse:
    """Record that the tape is on the skin now. Posting the same form twice makes one record."""
    plan, now = _plan_or_404(pk), timezone.now()
    made = _page_of(request, plan, now)
    form, failed = made.lay_form(request.POST), None
    if form.is_valid():
        try:
            return redirect_once(request, now, lambda: _laid(request, plan, form, now))
        except TapingRefused as refused:
            name, failed = FIELD_OF.get(refused.field, refused.field), refused
            form.add_error(name if name in form.fields else None, refused.message)
    fresh = _plan_or_404(pk)
    if failed is None and _version(request) not in (None, fresh.version):
        # Steps of strips that are no longer there are no slip of whoever posts them: another tablet changed the plan.
        failed = PlanChanged(fresh)
    done = _done(request, fresh)
    if done is not None:
        for words in form.non_field_errors():
            messages.error(request, str(words))
        return done
    return _refused(_page_of(request, fresh, now), None, form, failed)


def _laid(request: HttpRequest, plan: StripPlan, form: LayForm, now: datetime) -> str:
    application = application_start(actor=actor_of(request), now=now, plan=plan, details=form.details())
    messages.success(request, "The tape is on record.")
    return reverse("application_page", args=[application.pk])


@for_roles(*TAPERS)
@require_POST
def close(request: HttpRequest, pk: int) -> HttpResponse:
    """Put the plan away as not taped."""
    plan, now = _plan_or_404(pk), timezone.now()
    try:
        plan_close(actor=actor_of(request), now=now, plan=plan, why=request.POST.get("why", ""))
    except TapingRefused as refused:
        done = _done(request, plan)
        if done is not None:
            messages.error(request, refused.message)
            return done
        made = _page_of(request, plan, now)
        form, lay = made.strip_form(typed=request.POST.dict()), made.lay_form(typed=request.POST)
        return _shown(made, form, lay, status=422, close_error=refused.message)
    messages.success(request, "The plan is put away: not taped.")
    return HttpResponseRedirect(reverse("patient_page", args=[plan.screen.patient_id]))


def _plan_or_404(pk: int) -> StripPlan:
    plan = selectors.plan_get(pk)
    if plan is None:
        raise Http404
    return plan


def _page_of(request: HttpRequest, plan: StripPlan, now: datetime) -> PlanPage:
    return PlanPage(request, plan, now, list(selectors.rolls_in_use()))


def _shown(made: PlanPage, strip: StripForm, lay: LayForm, status: int = 200, **more: Any) -> HttpResponse:
    more.setdefault("position", position_in(made.request.POST))
    return render(made.request, "taping/plan_page.html", made.context(strip, lay, **more), status=status)


def _refused(
    made: PlanPage, strip: StripForm | None, lay: LayForm | None, refused: TapingRefused | None
) -> HttpResponse:
    """The page with the form that was refused; the other one keeps what is typed in it, unchecked."""
    typed = made.request.POST
    more: dict[str, Any] = {}
    if isinstance(refused, PlanChanged):
        more = {"conflict": refused, "differing": differing(refused, typed.dict())}
    if strip is None:
        strip = made.strip_form(typed=typed.dict())
    if lay is None:
        lay = made.lay_form(typed=typed)
    return _shown(made, strip, lay, status=422, **more)


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


def _then(
    request: HttpRequest,
    pk: int,
    act: Callable[[StripPlan, datetime], object],
    told: str,
    *,
    without: Collection[str] = frozenset(),
) -> HttpResponse:
    """Do it and show the plan again, with what else is typed on the page; a conflict shows both versions."""
    plan, now = _plan_or_404(pk), timezone.now()
    try:
        act(plan, now)
    except PlanChanged as changed:
        messages.error(request, changed.message)
        return _refused(_page_of(request, _plan_or_404(pk), now), None, None, changed)
    except TapingRefused as refused:
        messages.error(request, refused.message)
        typed_keep(request, plan)
    else:
        messages.success(request, told)
        typed_keep(request, plan, without=without)
    return HttpResponseRedirect(reverse("plan_page", args=[plan.pk]))
