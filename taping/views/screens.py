"""The skin screen: answer, save as a draft, bring two drafts together, record."""

from datetime import datetime

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from clinic.models import Patient
from clinic.services.events import event_record
from clinic.views.access import TAPERS, actor_of, for_roles, user_of
from clinic.views.posting import redirect_once
from taping import selectors
from taping.forms.screens import ScreenForm
from taping.rules.places import region_words
from taping.rules.skin import AnswerError, Outcome
from taping.rules.skin_person import PERSON_KEYS
from taping.services.refusals import TapingRefused
from taping.services.screen_drafts import (
    DraftChanged,
    DraftClosed,
    draft_discard,
    draft_merge,
    draft_save,
    draft_settle,
)
from taping.services.screens import ScreenDetails, screen_record
from taping.templatetags.taping_words import outcome_sign
from taping.views.screen_context import (
    ScreenPage,
    conflict_context,
    patient_address,
    place_in,
    places_after,
    screen_address,
    screen_page_address,
    verdict_context,
)
from taping.views.screen_places import place_page


@for_roles(*TAPERS)
@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest, pk: int) -> HttpResponse:
    """Screen one region and side of a patient: ?region=&side=, goal= where it is known, then= the places after it.

    POST with do=save keeps a draft, merge brings two together, ask_again opens the questions about the person,
    none_of_these answers the open cautions; anything else records the screen.
    """
    patient = get_object_or_404(Patient, pk=pk, erased_at=None)
    place = place_in(request)
    now = timezone.now()
    if request.method == "POST" and place is not None:
        return _posted(ScreenPage(request, patient, place, now))
    event_record(actor=actor_of(request), verb="patient.read", subject=patient, patient=patient, now=now)
    if place is None:
        return place_page(request, patient)
    page = ScreenPage(request, patient, place, now)
    if page.draft is not None and "go_on" not in request.GET and not _mine(page):
        return render(request, "taping/screen_begun.html", page.context(page.form()))
    return page.shown(page.form())


def _mine(page: ScreenPage) -> bool:
    user, draft = user_of(page.request), page.draft
    return draft is not None and user in (draft.begun_by, draft.saved_by)


def _posted(page: ScreenPage) -> HttpResponse:
    form = page.form(page.request.POST)
    do = page.request.POST.get("do", "")
    try:
        if do == "save":
            return _save(page, form)
        if do == "merge":
            return _merge(page, form)
        if do == "ask_again":
            return _ask_again(page, form)
        if "none_of_these" in page.request.POST:
            return _none_of_these(page, form)
        return _record(page, form)
    except (DraftChanged, DraftClosed) as refused:
        return _conflict(page, form, refused)


def _save(page: ScreenPage, form: ScreenForm) -> HttpResponse:
    request = page.request
    by_htmx = request.headers.get("HX-Request") == "true"
    typed = page.typed(form, leaving=not by_htmx)
    try:
        draft = draft_save(actor=actor_of(request), now=page.now, patient=page.patient, typed=typed)
    except (DraftChanged, DraftClosed) as refused:
        if not by_htmx:
            raise
        return _saved(page, form, conflict=conflict_context(refused, form, page))
    except TapingRefused as refused:
        if by_htmx:
            return _saved(page, form, refused_words=refused.message, refused_field=refused.field)
        _only_error(form, refused)
        return page.shown(form, status=422)
    if by_htmx:
        return _saved(page, form, draft=draft)
    if draft is not None:
        messages.success(request, f"Saved at {timezone.localtime(draft.saved_at):%H:%M}, not recorded yet.")
    return HttpResponseRedirect(f"?{page.query}#main")


def _only_error(form: ScreenForm, refused: TapingRefused) -> None:
    """Why it cannot be kept; that questions are open is no error while nothing is recorded."""
    for name in [name for name in form.errors if name != refused.field]:
        del form.errors[name]
    if not form.errors:
        form.add_error(refused.field if refused.field in form.fields else None, refused.message)


def _saved(page: ScreenPage, form: ScreenForm, **more: object) -> HttpResponse:
    """The fragment after a save: the verdict, its reasons, whether it is saved, and what the next save is based on."""
    context = {**verdict_context(form.verdict()), "swap": True, "keys": more.get("draft"), **more}
    return render(page.request, "taping/_screen_saved.html", context)


def _merge(page: ScreenPage, form: ScreenForm) -> HttpResponse:
    try:
        typed = page.typed(form, leaving=True)
        draft, both = draft_merge(actor=actor_of(page.request), now=page.now, patient=page.patient, typed=typed)
    except DraftClosed:
        raise
    except TapingRefused as refused:
        _only_error(form, refused)
        return page.shown(form, status=422)
    page.reread()
    labels = [str(form.fields[name].label) for name in both.anew if name in form.fields]
    return page.shown(page.form(), merged=draft, anew=labels)


def _ask_again(page: ScreenPage, form: ScreenForm) -> HttpResponse:
    values = {name: value for name, value in form.typed().items() if name not in PERSON_KEYS}
    opened = page.form(values=values)
    _keep(page, opened)
    return page.shown(opened, asked_again=True)


def _none_of_these(page: ScreenPage, form: ScreenForm) -> HttpResponse:
    try:
        filled = form.none_of_these()
    except AnswerError as blocked:
        _keep(page, form)
        return page.shown(page.form(values=form.typed()), blocked=str(blocked), status=422)
    _keep(page, filled)
    return page.shown(filled, filled=True)


def _keep(page: ScreenPage, form: ScreenForm) -> None:
    """Save what stands on the page beside what else is done with it. Raises DraftChanged, DraftClosed."""
    typed = page.typed(form, leaving=True)
    try:
        draft_save(actor=actor_of(page.request), now=page.now, patient=page.patient, typed=typed)
    except (DraftChanged, DraftClosed):
        raise
    except TapingRefused:
        return  # a field that is too long: the form says so, and the page keeps it
    page.reread()


def _record(page: ScreenPage, form: ScreenForm) -> HttpResponse:
    if form.is_valid():
        try:
            return redirect_once(page.request, page.now, lambda: _recorded(page, form, page.now))
        except (DraftChanged, DraftClosed):
            raise
        except TapingRefused as refused:
            form.add_error(refused.field if refused.field in form.fields else None, refused.message)
    _keep(page, form)
    return page.shown(form, status=422)


def _recorded(page: ScreenPage, form: ScreenForm, now: datetime) -> str:
    request, actor, typed = page.request, actor_of(page.request), page.typed(form, leaving=True)
    details = ScreenDetails(
        region=page.place[0],
        side=page.place[1],
        answers=form.answers(),
        goal=form.cleaned_data["goal"],
        note=form.cleaned_data["note"],
        visit=page.visit,
        made_at=form.asked_at(now=now, zone=page.zone),
        late_reason=form.cleaned_data["late_reason"],
        supervisor=form.named_supervisor(),
    )
    draft_settle(actor=actor, now=now, patient=page.patient, typed=typed)
    screen = screen_record(actor=actor, now=now, patient=page.patient, details=details)
    draft_settle(actor=actor, now=now, patient=page.patient, typed=typed, screen=screen)
    after = places_after(request)
    done = f"The screen of the {page.words} is recorded: {outcome_sign(screen.outcome).word}."
    if after and screen.outcome != Outcome.DO_NOT_TAPE:
        messages.success(request, f"{done} Next: {region_words(*after[0])}.")
        return screen_address(page.patient.pk, after)
    messages.success(request, done)
    return screen_page_address(screen.pk, after)


def _conflict(page: ScreenPage, form: ScreenForm, refused: DraftChanged | DraftClosed) -> HttpResponse:
    """Nothing was saved or recorded: what stands on the page is kept, and what others did is shown beside it."""
    context = conflict_context(refused, form, page)
    again = page.form(values=form.typed())
    # What the page is based on stays what it was, until both are brought together; a closed draft is left behind.
    keys = {"pk": page.request.POST.get("draft"), "version": page.request.POST.get("version")}
    return page.shown(again, conflict=context, keys=keys if isinstance(refused, DraftChanged) else None, status=409)


@for_roles(*TAPERS)
@require_POST
def discard(request: HttpRequest, pk: int) -> HttpResponse:
    """Put a draft away; what was recorded meanwhile stays."""
    draft = selectors.draft_get(pk)
    if draft is None:
        messages.info(request, "That draft is gone already: drafts are kept for two days.")
        return HttpResponseRedirect("/")
    try:
        draft_discard(actor=actor_of(request), now=timezone.now(), draft=draft)
    except DraftClosed as refused:
        messages.error(request, refused.message)
    else:
        messages.success(request, f"The draft of the {region_words(draft.region, draft.side)} is discarded.")
    return HttpResponseRedirect(patient_address(draft.patient_id))
