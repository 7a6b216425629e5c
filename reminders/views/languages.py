"""The languages of messages and patients' pages: which are on, who approved them, which is the clinic's own."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from clinic.models import Clinic
from clinic.models.people import BEGUN_WITH, Language
from clinic.rules.tongue import LANGUAGES, is_read, tongue_of
from clinic.services.languages import LanguageRefused, language_approve, language_choose, language_withdraw
from clinic.views.access import actor_of, clinic_of, for_roles
from reminders.forms.languages import ApproveForm
from reminders.selectors.languages import people_by_language


@dataclass(frozen=True, slots=True)
class Row:
    """One language: its state, how many people asked for it, and how many of its sentences the clinic changed.

    people: None where they are not counted. readers: who read those that were changed since the language was approved.
    is_read: whether the approval is of the program's sentences as they stand.
    """

    key: str
    label: str
    own_name: str
    is_clinics: bool
    name: str
    on: date | None
    is_read: bool
    people: int | None
    changed: int
    readers: list[str]
    form: ApproveForm

    @property
    def is_on(self) -> bool:
        return self.is_clinics or self.on is not None


@for_roles("manager")
@require_safe
def languages(request: HttpRequest) -> HttpResponse:
    """Each language with its state and what can be done about it."""
    return _page(request)


@for_roles("manager")
@require_POST
def language_approved(request: HttpRequest) -> HttpResponse:
    """Switch a language on, by the name of who read it."""
    language = request.POST.get("language", "")
    form = ApproveForm(request.POST, auto_id=f"id_{language}_%s")
    if not form.is_valid():
        return _page(request, wrong=form, wrong_language=language, status=422)
    language, name = form.cleaned_data["language"], form.cleaned_data["name"]
    on = timezone.localdate()
    language_approve(actor=actor_of(request), now=timezone.now(), language=language, name=name, on=on)
    messages.success(request, f"{Language(language).label} is on. Messages not yet sent speak it when they go.")
    return redirect("languages")


@for_roles("manager")
@require_POST
def language_off(request: HttpRequest) -> HttpResponse:
    return _changed(request, language_withdraw, "{} is off. Its patients are written to in the clinic's language.")


@for_roles("manager")
@require_POST
def language_own(request: HttpRequest) -> HttpResponse:
    return _changed(request, language_choose, "{} is the clinic's own language now.")


def _changed(request: HttpRequest, change: Callable[..., Clinic], said: str) -> HttpResponse:
    language = request.POST.get("language", "")
    try:
        change(actor=actor_of(request), now=timezone.now(), language=language)
    except LanguageRefused as refused:
        messages.error(request, str(refused))
    else:
        messages.success(request, said.format(Language(language).label if language in Language.values else language))
    return redirect("languages")


def _page(
    request: HttpRequest, *, wrong: ApproveForm | None = None, wrong_language: str = "", status: int = 200
) -> HttpResponse:
    clinic, people = clinic_of(request), people_by_language()
    rows = [_row(Language(key), clinic, None if key == BEGUN_WITH else people.get(key, 0)) for key in LANGUAGES]
    if wrong is not None:
        rows = [replace(row, form=wrong) if row.key == wrong_language else row for row in rows]
    context: dict[str, Any] = {"rows": rows, "wrong": wrong}
    return render(request, "reminders/languages.html", context, status=status)


def _row(language: Language, clinic: Clinic, people: int | None) -> Row:
    key, approval = language.value, clinic.languages.get(language.value, {})
    return Row(
        key=key,
        label=str(language.label),
        own_name=LANGUAGES[key],
        is_clinics=key == clinic.language,
        name=approval.get("name", ""),
        on=date.fromisoformat(approval["on"]) if "on" in approval else None,
        is_read=is_read(approval, tongue_of(key)),
        people=people,
        changed=len(clinic.texts.get(key, {})),
        readers=sorted({reader["name"] for reader in clinic.text_readers.get(key, {}).values()}),
        form=ApproveForm(initial={"language": key}, auto_id=f"id_{key}_%s"),
    )
