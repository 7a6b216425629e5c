"""One tap on a pain score."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from clinic.views.access import TAPERS, actor_of, for_roles
from clinic.views.posting import back_or
from taping import selectors
from taping.models import PainScore, StripPlan
from taping.services.pain import pain_record
from taping.services.refusals import TapingRefused
from taping.templatetags.pain import asked, pain_context

NOT_ASKED = "not_asked"


@for_roles(*TAPERS)
@require_POST
def pain_save(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep one score and lead back to the page; htmx gets that row of the page alone."""
    plan, moment = selectors.plan_get(pk), request.POST.get("moment", "")
    if plan is None or moment not in PainScore.Moment.values:
        raise Http404
    refused = None
    try:
        pain_record(
            actor=actor_of(request),
            now=timezone.now(),
            plan=plan,
            moment=moment,
            score=score_of(request.POST.get("score", "")),
            why=request.POST.get("why", ""),
        )
    except TapingRefused as no:
        refused = no
    if request.headers.get("HX-Request"):
        return _row(request, plan, moment, refused)
    if refused:
        messages.error(request, refused.message)
    else:
        messages.success(request, f"Pain {PainScore.Moment(moment).label}: recorded.")
    return HttpResponseRedirect(f"{back_or(request, _page_of(plan))}#pain-{moment}-{plan.pk}")


def score_of(text: str) -> int | None:
    """The score that a button or a radio stands for; -1, which no scale has, for anything else than theirs."""
    if text == NOT_ASKED:
        return None
    return int(text) if text.isascii() and text.isdecimal() and len(text) <= 2 else -1


def _row(request: HttpRequest, plan: StripPlan, moment: str, refused: TapingRefused | None) -> HttpResponse:
    rows = [asked(moment, selectors.pain_scores(plan))]
    context = pain_context(plan, rows, back_or(request, ""), refused=refused, swapped=True)
    # htmx puts in place only what succeeded; the refusal stands in the row it belongs to.
    return render(request, "taping/_pain.html", context)


def _page_of(plan: StripPlan) -> str:
    taped = selectors.tape_of_plan(plan)
    return reverse("application_page", args=[taped.pk]) if taped else reverse("plan_page", args=[plan.pk])
