"""A skin screen while it is answered: saved as answers are given, found again, brought together, dropped."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID, uuid5

from django.db import transaction

from clinic.models import OnceKey, Patient, User, Visit
from clinic.selectors import clinic_get
from clinic.services.events import ENGINE, Actor, event_record
from taping.models import ScreenDraft, SkinScreen
from taping.rules.draft_merge import Difference, Merged, differences, merge
from taping.rules.places import REGIONS
from taping.rules.skin import QUESTIONS, Answer
from taping.selectors import draft_at, drafts_since
from taping.services.refusals import TapingRefused

MOST_NOTE = 2000
LONGEST_WORD = 300
WORDS = ("goal", "made_on", "made_at", "late_reason", "supervisor")
"""The small fields that a draft keeps as they were typed."""
MOST_DROPPED = 500
_QUESTION_KEYS = frozenset(question.key for question in QUESTIONS)


@dataclass(frozen=True, slots=True)
class DraftTyped:
    """What stands on the page now. values: the name of each field of the screen that is filled in, and its content.

    draft and version: what the page was made from, None where nothing was saved then; page: the page's own key, which
    stays the same while it is open; leaving: the answer to this post takes the page's place, so that whatever the same
    page still sends is older.
    """

    region: str
    side: str
    values: Mapping[str, str] = field(default_factory=dict)
    draft: int | None = None
    version: int | None = None
    page: UUID | None = None
    visit: Visit | None = None
    leaving: bool = False

    @property
    def saves_as(self) -> UUID | None:
        """What a draft that is saved from here remembers of its page."""
        return uuid5(self.page, "left") if self.page and self.leaving else self.page

    def follows(self, saved_from: UUID | None) -> bool:
        """Whether the last save came from this page too, before what is sent now."""
        return saved_from is not None and saved_from in (self.saves_as, self.page)


class DraftChanged(TapingRefused):
    """Somebody else saved the draft since the page was made; current is what they saved."""

    def __init__(self, current: ScreenDraft, here: Mapping[str, str]) -> None:
        at = current.saved_at.astimezone(clinic_get().zone)
        super().__init__(f"Not saved: {current.saved_by.full_name} saved this draft at {at:%H:%M}, from another page.")
        self.current = current
        self.differences: tuple[Difference, ...] = differences(values_of(current), here)


class DraftClosed(TapingRefused):
    """Somebody recorded or discarded the draft since the page was made."""

    def __init__(self, current: ScreenDraft) -> None:
        who = current.closed_by.full_name if current.closed_by else "Somebody else"
        at = current.closed_at.astimezone(clinic_get().zone) if current.closed_at else None
        when = f" at {at:%H:%M}" if at else ""
        done = "recorded this screen" if current.screen_id else "discarded this draft"
        super().__init__(f"{who} {done}{when}. Nothing was saved from this page.")
        self.current = current


def values_of(draft: ScreenDraft) -> dict[str, str]:
    """What the draft holds, by the names of the form's fields; only what is filled in."""
    kept = {**draft.words, **draft.answers, "note": draft.note}
    return {name: value for name, value in kept.items() if value}


@transaction.atomic
def draft_save(*, actor: Actor, now: datetime, patient: Patient, typed: DraftTyped) -> ScreenDraft | None:
    """Save what stands on the page; None while nothing was answered. now: aware.

    Saving what is stored already changes nothing. Raises DraftChanged, DraftClosed, TapingRefused.
    """
    user = _user(actor)
    values = _checked(typed)
    current = _current(now, patient, typed, values)
    if current is None:
        # A save that was overtaken by the record of its own page must not begin the screen once more.
        recorded = typed.page is not None and OnceKey.objects.filter(key=typed.page).exists()
        return _begun(user, actor, now, patient, typed, values) if values and not recorded else None
    return _written(user, actor, now, current, values, typed)


@transaction.atomic
def draft_merge(*, actor: Actor, now: datetime, patient: Patient, typed: DraftTyped) -> tuple[ScreenDraft, Merged]:
    """Bring what stands on the page and what others saved into one draft, and save it.

    Returns it with the names that both answered differently: those are open again. Raises DraftClosed, TapingRefused.
    """
    user = _user(actor)
    values = _checked(typed)
    current = _locked(now, patient, typed)
    if current is None:
        both = Merged(dict(values), ())
        return _begun(user, actor, now, patient, typed, values), both
    both = merge(values_of(current), values)
    if len(both.values.get("note", "")) > MOST_NOTE:
        raise TapingRefused(f"Both notes together are longer than {MOST_NOTE} characters. Shorten this one.", "note")
    return _written(user, actor, now, current, both.values, typed), both


@transaction.atomic
def draft_discard(*, actor: Actor, now: datetime, draft: ScreenDraft) -> ScreenDraft:
    """Put a draft away without recording it. Discarding it twice changes nothing. Raises DraftClosed once recorded."""
    current = _lock(draft.pk)
    if current.screen_id is not None:
        raise DraftClosed(current)
    return current if current.closed_at is not None else _closed(actor, now, current, "screen_draft.discarded")


def draft_settle(
    *, actor: Actor, now: datetime, patient: Patient, typed: DraftTyped, screen: SkinScreen | None = None
) -> None:
    """Close the place's draft with the screen that is being recorded, inside the caller's transaction.

    screen None: only make sure that it may be recorded from this page. Raises DraftChanged, DraftClosed.
    """
    current = _current(now, patient, typed, dict(typed.values))
    if current is None or screen is None:
        return
    current.screen = screen
    _closed(actor, now, current, "screen_draft.recorded")


def drafts_drop(now: datetime) -> int:
    """Delete what is kept no longer, recorded and discarded drafts too; returns how many. now: aware."""
    old = list(ScreenDraft.objects.filter(begun_at__lt=drafts_since(now, clinic_get().zone))[:MOST_DROPPED])
    for draft in old:
        with transaction.atomic():
            deleted, _ = ScreenDraft.objects.filter(pk=draft.pk).delete()
            if deleted and draft.closed_at is None:
                patient = Patient(pk=draft.patient_id)
                event_record(actor=ENGINE, verb="screen_draft.dropped", subject=draft, patient=patient, now=now)
    return len(old)


def _user(actor: Actor) -> User:
    if actor.user is None:
        raise TapingRefused("A skin screen is begun by a therapist or student who is logged in.")
    return actor.user


def _checked(typed: DraftTyped) -> dict[str, str]:
    region = REGIONS.get(typed.region)
    if region is None or typed.side not in region.sides:
        raise TapingRefused("Choose the region on the figure or in the list.", "region")
    values = {name: value for name, value in typed.values.items() if value and _known(name)}
    if len(values.get("note", "")) > MOST_NOTE:
        raise TapingRefused(f"The note is longer than {MOST_NOTE} characters. Shorten it.", "note")
    for name in WORDS:
        if len(values.get(name, "")) > LONGEST_WORD:
            raise TapingRefused(f"This is longer than {LONGEST_WORD} characters. Shorten it.", name)
    for key in _QUESTION_KEYS & set(values):
        Answer(values[key])
    return values


def _known(name: str) -> bool:
    return name in _QUESTION_KEYS or name in WORDS or name == "note"


def _lock(pk: int) -> ScreenDraft:
    rows = ScreenDraft.objects.select_for_update(of=("self",)).select_related("patient", "begun_by", "saved_by")
    return rows.get(pk=pk)


def _locked(now: datetime, patient: Patient, typed: DraftTyped) -> ScreenDraft | None:
    """The place's open draft, locked. Raises DraftClosed where the page was made from one that is open no more."""
    # The patient's row is the lock: two first answers at once begin one draft.
    Patient.objects.select_for_update().get(pk=patient.pk)
    if typed.draft is not None:
        known = ScreenDraft.objects.select_related("closed_by").filter(pk=typed.draft, patient=patient).first()
        if known is not None and known.closed_at is not None:
            raise DraftClosed(known)
    found = draft_at(patient, typed.region, typed.side, now=now, zone=clinic_get().zone)
    return None if found is None else _lock(found.pk)


def _current(now: datetime, patient: Patient, typed: DraftTyped, values: Mapping[str, str]) -> ScreenDraft | None:
    current = _locked(now, patient, typed)
    if current is None or values_of(current) == values:
        return current
    if not typed.follows(current.saved_from) and (typed.draft, typed.version) != (current.pk, current.version):
        raise DraftChanged(current, values)
    return current


def _begun(
    user: User, actor: Actor, now: datetime, patient: Patient, typed: DraftTyped, values: Mapping[str, str]
) -> ScreenDraft:
    # One of days ago is kept no longer; it must not stand in the way of a new one.
    place = {"patient": patient, "region": typed.region, "side": typed.side}
    ScreenDraft.objects.filter(**place, closed_at=None).delete()
    draft = ScreenDraft(**place, visit=typed.visit, begun_by=user, begun_at=now, saved_by=user, saved_at=now)
    _fill(draft, values)
    draft.saved_from = typed.saves_as
    draft.save()
    event_record(actor=actor, verb="screen_draft.begun", subject=draft, patient=patient, now=now, fields=values)
    return draft


def _written(
    user: User, actor: Actor, now: datetime, draft: ScreenDraft, values: Mapping[str, str], typed: DraftTyped
) -> ScreenDraft:
    changed: Iterable[str] = [found.name for found in differences(values_of(draft), values)]
    if not changed:
        if typed.leaving:
            draft.saved_from = typed.saves_as
            draft.save(update_fields=["saved_from"])
        return draft
    _fill(draft, values)
    draft.version += 1
    draft.saved_by, draft.saved_at, draft.saved_from = user, now, typed.saves_as
    draft.save()
    event_record(actor=actor, verb="screen_draft.saved", subject=draft, patient=draft.patient, now=now, fields=changed)
    return draft


def _fill(draft: ScreenDraft, values: Mapping[str, str]) -> None:
    draft.answers = {name: value for name, value in values.items() if name in _QUESTION_KEYS}
    draft.words = {name: values[name] for name in WORDS if values.get(name)}
    draft.note = values.get("note", "")


def _closed(actor: Actor, now: datetime, draft: ScreenDraft, verb: str) -> ScreenDraft:
    draft.closed_at, draft.closed_by = now, actor.user
    draft.save(update_fields=["closed_at", "closed_by", "screen"])
    event_record(actor=actor, verb=verb, subject=draft, patient=draft.patient, now=now)
    return draft
