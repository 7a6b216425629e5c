"""The patient's page: opened by an address alone, changed by its buttons alone.

Robots open every link they find, so nothing but a post changes anything; whatever is wrong with a link, unknown,
old or revoked, the answer is the same page.
"""

from collections.abc import Callable
from datetime import datetime
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from clinic.services.events import Actor
from clinic.services.once import once
from clinic.views.access import clinic_of, patient_actor
from clinic.views.errors import PATIENTS, not_found
from clinic.views.guesses import wrong_address
from clinic.views.posting import once_key
from reminders.forms.link import SkinForm
from reminders.models import Link
from reminders.rules.paper import paper_for
from reminders.services.answers import answer_call_back, answer_came_off, answer_off, answer_skin
from reminders.services.links import link_find
from reminders.services.tape_now import tongue_for
from reminders.services.undoing import answer_undo
from reminders.sheets.aftercare import TapeIsOff, aftercare_sheet
from reminders.sheets.printing import print_html
from reminders.views.calendars import calendar_response
from reminders.views.link_context import link_context, public_context, still_so, thanks_for
from reminders.views.sheets import pdf_response
from taping.models import Application
from taping.services.refusals import TapingRefused

DONE = ("off", "came-off", "skin", "call", "undo")


@login_not_required
@require_safe
def link_page(request: HttpRequest, token: str) -> HttpResponse:
    """Today's one thing first, the four answers, the steps, the days. Changes nothing."""
    now = timezone.now()
    link = link_find(token=token, purpose=Link.Purpose.TAPE, now=now)
    return _page(request, token, link.application, now) if link else unknown_link(request)


@login_not_required
@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def link_answer(request: HttpRequest, token: str, what: str) -> HttpResponse:
    """One of the four answers, or an undo, by post. A get shows a page and changes nothing."""
    now = timezone.now()
    link = link_find(token=token, purpose=Link.Purpose.TAPE, now=now)
    if link is None or what not in DONE:
        return unknown_link(request)
    tape = link.application
    if what == "skin":
        return _skin(request, token, tape, now)
    if request.method != "POST":
        return _page(request, token, tape, now)
    if what == "undo":
        return _undo(request, token, tape, now)
    return _answered(request, token, what, lambda: _ANSWERS[what](tape, now, _actor(request)))


@login_not_required
@require_safe
def link_paper(request: HttpRequest, token: str) -> HttpResponse:
    """The sheet of this tape, to print. Changes nothing; a tape that is off has its page only."""
    now, clinic = timezone.now(), clinic_of(request)
    link = link_find(token=token, purpose=Link.Purpose.TAPE, now=now)
    if link is None:
        return unknown_link(request)
    try:
        html = aftercare_sheet(link.application, clinic=clinic, now=now)
    except TapeIsOff:
        return _see(reverse("link_page", args=[token]))
    return pdf_response(print_html(html, paper=paper_for(clinic.country), one_page=True), name="tape")


@login_not_required
@require_safe
def link_calendar(request: HttpRequest, token: str) -> HttpResponse:
    """When the tape comes off, as a file for the patient's calendar. Changes nothing."""
    now = timezone.now()
    link = link_find(token=token, purpose=Link.Purpose.TAPE, now=now)
    if link is None:
        return unknown_link(request)
    return calendar_response(link.application, clinic=clinic_of(request), now=now)


def unknown_link(request: HttpRequest) -> HttpResponse:
    """The same page for every link that opens nothing; guesses by the dozen are told to come back later."""
    page = render(request, "reminders/link_unknown.html", public_context(clinic_of(request)), status=404)
    return wrong_address(request, page)


def not_found_for(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """A torn link still gives a patient the clinic's number; everybody else gets the clinic's own page."""
    torn = request.path_info.lower().startswith(PATIENTS) or request.path_info.lower() in ("/t", "/u")
    return unknown_link(request) if torn else not_found(request, exception)


def _actor(request: HttpRequest) -> Actor:
    return patient_actor(request)


def _page(request: HttpRequest, token: str, tape: Application, now: datetime, too_late: str = "") -> HttpResponse:
    context = link_context(tape, token=token, clinic=clinic_of(request), now=now)
    done = request.GET.get("done", "")
    if done in DONE and still_so(done, context):
        context["thanks"] = thanks_for(done, context)
    context["too_late"] = context["tongue"].say(too_late)
    return render(request, "reminders/link_page.html", context, status=422 if too_late else 200)


def _undo(request: HttpRequest, token: str, tape: Application, now: datetime) -> HttpResponse:
    try:
        answer_undo(actor=_actor(request), now=now, application=tape, what=request.POST.get("undo", ""))
    except TapingRefused as refused:
        return _page(request, token, tape, now, too_late=refused.message)
    return _done(token, "undo")


def _skin(request: HttpRequest, token: str, tape: Application, now: datetime) -> HttpResponse:
    # The button on the page posts nothing but itself and asks for the questions; only "send" reports.
    if request.method == "POST" and "send" not in request.POST:
        return _see(reverse("link_answer", args=[token, "skin"]))  # so that going back to the questions works
    tongue = tongue_for(tape, clinic_of(request))
    if request.method != "POST":
        return _skin_form(request, token, SkinForm(tongue=tongue), 200)
    form = SkinForm(request.POST, tongue=tongue)
    if not form.is_valid():
        return _skin_form(request, token, form, 422)
    signs, words = form.cleaned_data["signs"], form.cleaned_data["words"]

    def report() -> None:
        answer_skin(actor=_actor(request), now=now, application=tape, signs=signs, words=words)

    return _answered(request, token, "skin", report)


def _skin_form(request: HttpRequest, token: str, form: SkinForm, status: int) -> HttpResponse:
    context: dict[str, Any] = public_context(clinic_of(request), form.tongue) | {"token": token, "form": form}
    context["once"] = once_key(request)
    return render(request, "reminders/link_skin.html", context, status=status)


def _answered(request: HttpRequest, token: str, what: str, answer: Callable[[], None]) -> HttpResponseRedirect:
    def make() -> str:
        answer()
        return what  # never the address: what is stored must not open the page

    once(key=once_key(request), now=timezone.now(), make=make)
    return _done(token, what)


def _done(token: str, what: str) -> HttpResponseRedirect:
    return _see(f"{reverse('link_page', args=[token])}?done={what}")


def _see(address: str) -> HttpResponseRedirect:
    response = HttpResponseRedirect(address)
    response.status_code = 303
    return response


def _off(tape: Application, now: datetime, actor: Actor) -> None:
    answer_off(actor=actor, now=now, application=tape)


def _came_off(tape: Application, now: datetime, actor: Actor) -> None:
    answer_came_off(actor=actor, now=now, application=tape)


def _call(tape: Application, now: datetime, actor: Actor) -> None:
    answer_call_back(actor=actor, now=now, application=tape)


_ANSWERS: dict[str, Callable[[Application, datetime, Actor], None]] = {
    "off": _off,
    "came-off": _came_off,
    "call": _call,
}
