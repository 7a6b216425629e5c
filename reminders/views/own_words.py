"""A clinic's own words for its messages: which messages there are, and one page for each to change it on."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from clinic.models.people import Language
from clinic.rules.tongue import LANGUAGES, tongue_of
from clinic.selectors import clinic_get
from clinic.views.access import actor_of, clinic_of, for_roles
from reminders.forms.own_words import WordsForm
from reminders.rules.own_words import EDITED, changes_between, slots_of
from reminders.selectors.own_words import own_counts, text_version
from reminders.services.own_words import ReaderMissing, WordsChanged, WordsRefused, words_change
from reminders.views.own_words_context import Page, conflict_context, look_context, page_context
from reminders.views.signs import KIND


@for_roles("manager")
@require_safe
def texts(request: HttpRequest) -> HttpResponse:
    """Every message with its languages, and how many sentences of each are the clinic's own."""
    clinic = clinic_of(request)
    counts = own_counts(clinic)
    rows = [
        {
            "words": KIND.get(kind, "sentences that several messages share"),
            "languages": [
                {
                    "key": language,
                    "kind": kind,
                    "label": Language(language).label,
                    "is_on": clinic.speaks(language) == language,
                    "own": counts[language, kind],
                }
                for language in LANGUAGES
            ],
        }
        for kind in EDITED
    ]
    return render(request, "reminders/texts.html", {"rows": rows})


@for_roles("manager")
@require_http_methods(["GET", "HEAD", "POST"])
def text_edit(request: HttpRequest, language: str, kind: str) -> HttpResponse:
    """One message in one language. Only the button that saves saves; every other shows the page with what is typed."""
    version = text_version()  # Before the words are read: a change that comes between must be seen when they are saved.
    page = _page_or_404(request, language, kind)
    if request.method != "POST":
        return _shown(request, page, page.form({"version": version}))
    if "back" in request.POST:
        return _shown(
            request, page, page.form(page.typed_with_back(request.POST)), notice=page.back_words(request.POST)
        )
    if "choose" in request.POST or request.POST.get("do") == "find":
        return _shown(request, page, page.form(page.typed_with_patient(request.POST)))
    form = page.bound(request.POST)
    if not form.is_valid():
        return _shown(request, page, form, status=422)
    return _saved(request, page, form) if request.POST.get("do") == "save" else _shown(request, page, form)


@for_roles("manager")
@require_POST
def text_preview(request: HttpRequest, language: str, kind: str) -> HttpResponse:
    """What the words typed so far would say, as a fragment. Saves nothing."""
    page = _page_or_404(request, language, kind)
    form = page.bound(request.POST)
    form.is_valid()
    return render(request, "reminders/_text_look.html", look_context(request, page, form))


def _page_or_404(request: HttpRequest, language: str, kind: str) -> Page:
    if language not in LANGUAGES or kind not in EDITED:
        raise Http404
    clinic, tongue = clinic_get(), tongue_of(language)
    return Page(clinic, tongue, kind, slots_of(kind, tongue, clinic.texts.get(language, {})), timezone.now())


def _shown(
    request: HttpRequest, page: Page, form: WordsForm, *, status: int = 200, notice: str = "", **more: Any
) -> HttpResponse:
    context = {**page_context(page, form), **look_context(request, page, form), "notice": notice, **more}
    return render(request, "reminders/text_edit.html", context, status=status)


def _saved(request: HttpRequest, page: Page, form: WordsForm) -> HttpResponse:
    changes = changes_between(page.slots, form.typed())
    if not changes:
        messages.success(request, "Nothing was different: nothing was saved.")
        return redirect("text_edit", page.language, page.kind)
    try:
        words_change(
            actor=actor_of(request),
            now=page.now,
            language=page.language,
            changes=changes,
            version=form.cleaned_data["version"] or 0,
            reader=form.cleaned_data["reader"],
        )
    except WordsRefused as refused:
        form.refuse(refused.reasons)
        return _shown(request, page, form, status=422)
    except ReaderMissing as missing:
        form.add_error("reader", str(missing))
        return _shown(request, page, form, status=422)
    except WordsChanged as changed:
        return _conflict(request, page, form, changed)
    done = "The words are saved. Messages not yet sent say them when they go; what was sent stays as it was."
    off = f"The words are saved. Nobody gets them until {page.label} is approved under Languages."
    messages.success(request, done if page.is_on else off)
    return redirect("text_edit", page.language, page.kind)


def _conflict(request: HttpRequest, page: Page, form: WordsForm, changed: WordsChanged) -> HttpResponse:
    own = changed.clinic.texts.get(page.language, {})
    stored = Page(changed.clinic, page.tongue, page.kind, slots_of(page.kind, page.tongue, own), page.now)
    context, merged = conflict_context(stored, form, changed.events)
    return _shown(request, stored, stored.form({**merged, "version": changed.events[0].pk}), status=409, **context)
