"""What the page of a skin screen shows while it is answered, and how its address says where it is."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import Any
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from clinic.models import Patient, Visit
from clinic.selectors import therapists
from clinic.views.access import clinic_of, user_of
from clinic.views.posting import once_key
from taping import selectors
from taping.forms.screens import QuestionGroup, ScreenAsked, ScreenForm
from taping.models import ScreenDraft, SkinScreen
from taping.rules.draft_merge import Difference
from taping.rules.places import REGIONS, region_words
from taping.rules.skin import About, Finding, Verdict
from taping.rules.skin_person import person_answers
from taping.rules.technique import TECHNIQUES
from taping.services.screen_drafts import DraftChanged, DraftClosed, DraftTyped, values_of

Place = tuple[str, str]
MOST_PLACES = 6
"""So many places can be chosen at once; more would not fit an address, or a visit."""


def place_named(region: str, side: str) -> Place | None:
    """The place, where it exists; a region with one side needs none named."""
    known = REGIONS.get(region)
    if known is None:
        return None
    if not side and len(known.sides) == 1:
        return region, known.sides[0].value
    return (region, side) if side in known.sides else None


def place_in(request: HttpRequest) -> Place | None:
    return place_named(request.GET.get("region", ""), request.GET.get("side", ""))


def goal_in(request: HttpRequest) -> str:
    goal = request.GET.get("goal", "")
    return goal if goal in set(TECHNIQUES) else ""


def places_after(request: HttpRequest) -> list[Place]:
    """The places that were chosen together with this one and come after it."""
    return places_read(request.GET.get("then", "").split(","))


def places_read(words: list[str]) -> list[Place]:
    """Places from words like "knee.left", each once; what is none is left out."""
    found = (place_named(*word.split(".", 1)) for word in words if word.count(".") == 1)
    return list(dict.fromkeys(place for place in found if place is not None))[:MOST_PLACES]


def screen_address(patient: int, places: list[Place], **more: str) -> str:
    """The address that asks the first of places and then leads through the others."""
    (region, side), after = places[0], places[1:]
    rest = {"then": ",".join(f"{one}.{other}" for one, other in after)} if after else {}
    query = urlencode({"region": region, "side": side, **rest, **more}, safe=",")
    return f"{reverse('screen_new', args=[patient])}?{query}"


def screen_page_address(screen: int, after: list[Place]) -> str:
    """The page of a recorded screen, which offers the places that are still to be asked."""
    rest = f"?then={','.join(f'{region}.{side}' for region, side in after)}" if after else ""
    return f"{reverse('screen_page', args=[screen])}{rest}"


def patient_address(patient: int) -> str:
    return reverse("patient_page", args=[patient])


@dataclass
class ScreenPage:
    """A place of a patient on its way to the page. now: aware."""

    request: HttpRequest
    patient: Patient
    place: Place
    now: datetime
    more: dict[str, Any] = field(default_factory=dict)

    @property
    def zone(self) -> ZoneInfo:
        return clinic_of(self.request).zone

    @property
    def words(self) -> str:
        return region_words(*self.place)

    @cached_property
    def visit(self) -> Visit | None:
        return selectors.visit_of_today(self.patient, now=self.now, zone=self.zone)

    @cached_property
    def earlier(self) -> SkinScreen | None:
        """The screen in which the person was asked already, at this visit."""
        return selectors.person_asked(self.patient, visit=self.visit, now=self.now, zone=self.zone)

    @cached_property
    def draft(self) -> ScreenDraft | None:
        return selectors.draft_at(self.patient, *self.place, now=self.now, zone=self.zone)

    def reread(self) -> None:
        """Forget the draft, after it was saved."""
        self.__dict__.pop("draft", None)

    def form(self, data: Any = None, values: Mapping[str, str] | None = None) -> ScreenForm:
        """The form of what was posted, of values, of the draft; else with what the person answered already."""
        staff = list(therapists()) if user_of(self.request).is_student else []
        asked = ScreenAsked(self.now, self.zone, staff)
        if data is None and values is None:
            values = values_of(self.draft) if self.draft else self._begin()
        return ScreenForm(data, asked=asked, initial=dict(values or {}))

    def _begin(self) -> dict[str, str]:
        told = person_answers(self.earlier.answers) if self.earlier else {}
        last = {"supervisor": str(self.earlier.supervisor_id)} if self.earlier and self.earlier.supervisor_id else {}
        return {"goal": goal_in(self.request), **last, **told}

    def typed(self, form: ScreenForm, **instead: Any) -> DraftTyped:
        """What stands on the page, for the services."""
        post = self.request.POST
        values = {"values": form.typed(), "draft": _number(post.get("draft")), "version": _number(post.get("version"))}
        page = once_key(self.request)
        return DraftTyped(*self.place, **{**values, "page": page, "visit": self.visit, **instead})

    @property
    def query(self) -> str:
        after = places_after(self.request)
        return screen_address(self.patient.pk, [self.place, *after], go_on="1").partition("?")[2]

    def context(self, form: ScreenForm) -> dict[str, Any]:
        return {
            "patient": self.patient,
            "form": form,
            "groups": [(group, self._asked_already(group)) for group in form.groups()],
            "place": self.words,
            "region": REGIONS[self.place[0]],
            "side": self.place[1],
            "query": self.query,
            "after": [region_words(*one) for one in places_after(self.request)],
            "earlier": self.earlier,
            "draft": self.draft,
            "keys": self.draft,
            "begun_by_other": self.draft is not None and self.draft.begun_by != user_of(self.request),
            "worn": selectors.worn_at(self.patient, *self.place),
            "reports": list(selectors.reports_open(self.patient)),
            **verdict_context(form.verdict()),
            **self.more,
        }

    def _asked_already(self, group: QuestionGroup) -> bool:
        """Whether the answers of a group about the person stand as they were given earlier at this visit."""
        if self.earlier is None or group.about is not About.PERSON:
            return False
        told = self.earlier.answers
        return group.all_answered and all(told.get(one.name) == one.value() for one in group.fields)

    def shown(self, form: ScreenForm, *, status: int = 200, **more: Any) -> HttpResponse:
        self.more |= more
        return render(self.request, "taping/screen_new.html", self.context(form), status=status)


def _number(text: str | None) -> int | None:
    return int(text) if text and text.isascii() and text.isdecimal() and len(text) < 19 else None


@dataclass(frozen=True, slots=True)
class ShownDifference:
    """One field in which two versions differ, in words."""

    label: str
    stored: str
    here: str


def conflict_context(refused: DraftChanged | DraftClosed, form: ScreenForm, page: ScreenPage) -> dict[str, Any]:
    """Why nothing was saved, and both versions where there are two."""
    current = refused.current
    context: dict[str, Any] = {"refused": refused, "current": current, "query": page.query, "patient": page.patient}
    if isinstance(refused, DraftChanged):
        context["differing"] = [_in_words(found, form) for found in refused.differences]
    return context


def _in_words(found: Difference, form: ScreenForm) -> ShownDifference:
    shown = form.fields.get(found.name)
    choices = dict(getattr(shown, "choices", ()))
    label = str(shown.label) if shown is not None else found.name
    return ShownDifference(
        label, str(choices.get(found.stored, found.stored)), str(choices.get(found.here, found.here))
    )


def verdict_context(found: Verdict) -> dict[str, Any]:
    """What the verdict's fragment shows: questions that nobody answered are counted, everything else is listed."""
    unanswered = [reason for reason in found.reasons if reason.finding is Finding.OPEN and reason.answer is None]
    return {
        "verdict": found,
        "unanswered": len(unanswered),
        "first_open": unanswered[0].question if unanswered else "",
        "reasons": [reason for reason in found.reasons if reason not in unanswered],
    }
