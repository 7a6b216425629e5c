"""What the page on which a message's words are changed shows: its sentences, what they would say, whose they are."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.http import HttpRequest, QueryDict

from clinic.models import Clinic, Event, Patient
from clinic.models.people import Language
from clinic.rules.tongue import Tongue
from clinic.selectors import patients_find, patients_slice
from clinic.services.events import event_record
from clinic.views.access import actor_of
from reminders.forms.own_words import WordsForm, field_name, label_of
from reminders.rules.kinds import MessageKind
from reminders.rules.own_words import PLACEHOLDERS, Slot, changes_between, common_in, offered_in
from reminders.rules.texts import MAIL, PAGE, SHARED, SMS, SUBJECT
from reminders.services.text_trial import ORDINARY, SHARED_SHOWN, Trial, trial_of, trials
from reminders.views.signs import KIND

PARTS = {
    SMS: "Text message",
    SUBJECT: "Subject of the mail",
    MAIL: "Mail",
    PAGE: "First on the patient's page and sheet",
}
MOST_FOUND = 8
READ_AGAIN_AFTER = timedelta(minutes=15)
"""A preview that is drawn anew at every letter is one look at a record, not a hundred."""
_LOOKED = "text_preview_looked"


@dataclass(frozen=True, slots=True)
class Page:
    """One message in one language, as it is stored. now: aware."""

    clinic: Clinic
    tongue: Tongue
    kind: str
    slots: tuple[Slot, ...]
    now: datetime

    @property
    def language(self) -> str:
        return self.tongue.key

    @property
    def label(self) -> str:
        return str(Language(self.language).label)

    @property
    def is_on(self) -> bool:
        return self.clinic.speaks(self.language) == self.language

    @property
    def shown_kinds(self) -> tuple[MessageKind, ...]:
        return SHARED_SHOWN if self.kind == SHARED else (MessageKind(self.kind),)

    def form(self, initial: Mapping[str, Any]) -> WordsForm:
        return WordsForm(slots=self.slots, tongue=self.tongue, initial=dict(initial))

    def bound(self, post: QueryDict) -> WordsForm:
        return WordsForm(post, slots=self.slots, tongue=self.tongue)

    def typed_with_back(self, post: QueryDict) -> dict[str, Any]:
        """What was typed, with the program's own words in the sentence that "back" names, or in all."""
        programs = {
            field_name(slot.key): slot.programs for slot in self.slots if post["back"] in ("all", field_name(slot.key))
        }
        return {**post.dict(), **programs}

    def back_words(self, post: QueryDict) -> str:
        """What is said after it."""
        every = "Every sentence holds" if post["back"] == "all" else "The sentence holds"
        return f"{every} the program's own words again. Nothing is saved yet: look, then save."

    def typed_with_patient(self, post: QueryDict) -> dict[str, Any]:
        """What was typed, with the patient that was chosen, if one was."""
        return {**post.dict(), **({"patient": post["choose"]} if "choose" in post else {})}


def page_context(page: Page, form: WordsForm) -> dict[str, Any]:
    """The sentences in the order in which they are said, by where they stand, and what placeholders mean."""
    readers = page.clinic.text_readers.get(page.language, {})
    rows = [(slot, _row(slot, form, readers.get(slot.key))) for slot in page.slots]
    parts = {part: [row for slot, row in rows if slot.text.part == part] for part in PARTS}
    names = {one.name for slot in page.slots if not slot.text.locked for one in offered_in(slot.text)}
    return {
        "form": form,
        "page": page,
        "kind": page.kind,
        "kind_words": KIND.get(page.kind, "sentences that several messages share"),
        "parts": [(part, PARTS[part], found) for part, found in parts.items() if found],
        "placeholders": [one for name, one in PLACEHOLDERS.items() if name in names],
        "common": common_in(page.kind),
        "any_own": any(slot.own for slot in page.slots),
        "shared": page.kind == SHARED,
        "languages": [(one.value, one.label, one.value == page.language) for one in Language],
    }


def _row(slot: Slot, form: WordsForm, reader: Mapping[str, str] | None) -> dict[str, Any]:
    name = field_name(slot.key)
    return {
        "slot": slot,
        "label": label_of(slot),
        "field": None if slot.text.locked else form[name],
        "back": name,
        "reader": reader["name"] if reader else "",
        "read_on": date.fromisoformat(reader["on"]) if reader else None,
    }


def look_context(request: HttpRequest, page: Page, form: WordsForm) -> dict[str, Any]:
    """What the words in the form would say; a sentence with a fault in it is shown as it is stored."""
    typed = form.typed() if form.is_bound else _unchecked(page, form)
    changes = changes_between(page.slots, typed)
    own = {key: words for key, words in {**page.clinic.texts.get(page.language, {}), **changes}.items() if words}
    tried = trials(clinic=page.clinic, now=page.now, language=page.language, kind=page.kind, own=own, shown=True)
    faults = form.errors if form.is_bound else {}
    return {
        "page": page,
        "looks": [_look(kind, [one for one in tried if one.kind is kind]) for kind in page.shown_kinds],
        "faults": [(form[name].label, found) for name, found in faults.items() if name in form.names.values()],
        "form": form,
        **_patient_context(request, page, form, own),
    }


def _unchecked(page: Page, form: WordsForm) -> dict[str, str]:
    """The words of a form that was not checked yet, those of them that are sound."""
    checked = WordsForm({name: form[name].value() for name in form.fields}, slots=page.slots, tongue=page.tongue)
    checked.is_valid()
    return checked.typed()


def _look(kind: MessageKind, tried: list[Trial]) -> dict[str, Any]:
    """The ordinary message whole, and each other one whose text message or page says something else."""
    ordinary = next(one for one in tried if one.situation == ORDINARY)
    others: dict[tuple[str, str], Trial] = {}
    for one in tried:
        said = (one.shown, one.page)
        if said != (ordinary.shown, ordinary.page):
            others.setdefault(said, one)
    return {"words": KIND[kind], "one": ordinary, "others": list(others.values())}


def _patient_context(request: HttpRequest, page: Page, form: WordsForm, own: Mapping[str, str]) -> dict[str, Any]:
    """The chosen patient's message, and patients found by the name that was asked for."""
    patient = _chosen(form)
    # The key Enter presses the first button, which shows: a name without a patient chosen is looked for all the same.
    looks = request.POST.get("do") == "find" or (request.POST.get("do") == "show" and patient is None)
    asked = str(form["who"].value() or "").strip() if looks else ""
    found = patients_slice(patients_find(asked), 0, MOST_FOUND) if asked else []
    looked: list[dict[str, Any]] = []
    if patient is not None:
        _tell_read(request, patient, page.now)
        for kind in page.shown_kinds:
            one = trial_of(
                clinic=page.clinic, now=page.now, language=page.language, kind=kind, own=own, patient=patient
            )
            looked.append({"words": KIND[kind], "one": one})
    return {"patient": patient, "found": found, "asked": asked, "patient_looks": looked}


def _chosen(form: WordsForm) -> Patient | None:
    value = str(form["patient"].value() or "")
    if not (value.isascii() and value.isdecimal() and len(value) < 19):
        return None
    return Patient.objects.prefetch_related("helpers").filter(pk=int(value), erased_at=None).first()


def _tell_read(request: HttpRequest, patient: Patient, now: datetime) -> None:
    """Put the look at this record into the event table, once for a while of looking."""
    kept = request.session.get(_LOOKED) or {}
    since = datetime.fromisoformat(kept["at"]) if kept.get("patient") == patient.pk else None
    if since is None or not since <= now < since + READ_AGAIN_AFTER:
        event_record(actor=actor_of(request), verb="patient.read", subject=patient, patient=patient, now=now)
        request.session[_LOOKED] = {"patient": patient.pk, "at": now.isoformat()}


def conflict_context(stored: Page, form: WordsForm, events: Iterable[Event]) -> tuple[dict[str, Any], dict[str, Any]]:
    """Who saved what meanwhile and where the two versions differ; and what the next form begins with.

    The next form holds what others changed, and what was typed everywhere else.
    """
    changed = list(events)
    labels = {f"{stored.language}:{slot.key}": _full_label(slot) for slot in stored.slots}
    theirs = {field for event in changed for field in event.fields}
    typed = form.typed()
    merged: dict[str, Any] = {name: form.cleaned_data.get(name) for name in ("patient", "who", "reader", "fluent")}
    for slot in stored.slots:
        if slot.key in typed and f"{stored.language}:{slot.key}" not in theirs:
            merged[field_name(slot.key)] = typed[slot.key]
    differing = [
        {"label": _full_label(slot), "stored": slot.words, "typed": typed[slot.key]}
        for slot in stored.slots
        if slot.key in typed and typed[slot.key] != slot.words
    ]
    saved = [(event, [labels[field] for field in event.fields if field in labels]) for event in changed]
    return {"saved": saved, "differing": differing, "conflict": True}, merged


def _full_label(slot: Slot) -> str:
    return f"{PARTS[slot.text.part]}: {label_of(slot)}"
