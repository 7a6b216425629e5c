"""Whatever is refused is said in the summary and beside its field, nothing of it folded away, hidden or lost."""

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from html.parser import HTMLParser
from typing import Any

import pytest
import time_machine
from django.test import Client

from clinic.models import Clinic, User
from taping.models import Application, StripPlan
from tests.factories import ApplicationFactory, PatientFactory, ScreenFactory, StripFactory, StripPlanFactory
from tests.taping.screening import answers

SignedIn = Callable[..., tuple[Client, User]]
VOID = {"input", "meta", "link", "img", "br", "hr", "path", "rect", "circle", "line", "polygon", "ellipse", "use"}
STRIP = {
    "span": "30", "by": "tension", "tension": "10", "shape": "i", "start": "one_end", "direction": "none",
    "anchor_first": "5", "anchor_last": "5", "do": "add",
}  # fmt: skip
LONG = "x" * 301


class Errors(HTMLParser):
    """Reads a page: its ids, where the summary leads, each error beside a field and whether a fold hides it."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.open: list[tuple[str, dict[str, str | None]]] = []
        self.ids: set[str] = set()
        self.leads_to: list[str] = []
        self.beside: list[str] = []
        self.folded: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        if found.get("id"):
            self.ids.add(str(found["id"]))
        within = [str(one.get("class") or "") for _, one in self.open]
        if tag == "a" and any("error-summary" in one for one in within):
            self.leads_to.append(str(found.get("href")).removeprefix("#"))
        if "field-error" in str(found.get("class") or ""):
            self._error()
        if tag not in VOID:
            self.open.append((tag, found))

    def _error(self) -> None:
        holder = next((str(one["id"]) for _, one in reversed(self.open) if one.get("id")), "")
        self.beside.append(holder.removesuffix("_error"))
        if any(tag == "details" and "open" not in one for tag, one in self.open):
            self.folded.append(holder)

    def handle_endtag(self, tag: str) -> None:
        while self.open and self.open.pop()[0] != tag:
            pass


@pytest.fixture(autouse=True)
def _at_ten(now: datetime) -> Iterator[None]:
    with time_machine.travel(now, tick=False):
        yield


@pytest.fixture
def therapist(signed_in: SignedIn, clinic: Clinic) -> Client:
    return signed_in()[0]


@pytest.fixture
def empty(therapist: Client) -> StripPlan:
    made: StripPlan = StripPlanFactory()
    return made


@pytest.fixture
def plan(empty: StripPlan) -> StripPlan:
    StripFactory(plan=empty, position=1)
    return empty


@pytest.fixture
def tape(plan: StripPlan, now: datetime) -> Application:
    made: Application = ApplicationFactory(
        plan=plan, patient=plan.screen.patient, applied_at=now - timedelta(minutes=5), remover_open=True
    )
    return made


def is_seen(response: Any, *fields: str) -> None:
    """Refused, with an error beside exactly these fields, each led to by the summary and none folded away."""
    page = response.content.decode()
    found = Errors(page)
    assert response.status_code == 422
    assert sorted(found.beside) == sorted(f"id_{name}" for name in fields)
    assert found.folded == []
    assert [one for one in found.leads_to if one not in found.ids] == []
    led = {one.removesuffix("_0") for one in found.leads_to}
    assert led >= {f"id_{name}" for name in fields}


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"anchor_first": ""}, "anchor_first"),
        ({"anchor_last": "4 m"}, "anchor_last"),
        ({"shape": "fan", "tails": "many"}, "tails"),
        ({"roll": "999"}, "roll"),
        ({"place": "nose"}, "place"),
        ({"start": ""}, "start"),
        ({"by": ""}, "by"),
    ],
)
@pytest.mark.parametrize("first", [True, False], ids=["first strip", "another strip"])
def test_strip(therapist: Client, empty: StripPlan, typed: dict[str, str], field: str, first: bool) -> None:
    if not first:
        StripFactory(plan=empty, position=1)
    is_seen(therapist.post(f"/plans/{empty.pk}/", {**STRIP, "version": "1", **typed}), field)


@pytest.mark.parametrize(
    "typed",
    [{"by": "paper", "paper": "33", "tension": "fast"}, {"by": "tension", "paper": "4 m"}],
    ids=["piece cut already", "tension wanted"],
)
def test_what_the_page_hides_is_no_error(therapist: Client, empty: StripPlan, typed: dict[str, str]) -> None:
    assert therapist.post(f"/plans/{empty.pk}/", {**STRIP, "version": "1", **typed}).status_code == 302
    assert empty.strips.count() == 1


@pytest.mark.parametrize(
    ("typed", "fields"),
    [
        ({"time": "noon"}, ["time"]),
        ({"late_reason": LONG}, ["late_reason"]),
        ({"posture": LONG}, ["posture"]),
        ({"reason": LONG}, ["reason"]),
        ({"removal": "nobody"}, ["removal"]),
        ({"removal": "helper"}, ["helper"]),
        ({"removal": "helper", "helper": "999"}, ["helper"]),
        ({"last_day": "9"}, ["last_day"]),
        ({"last_day": "2"}, ["shorten_why"]),
        ({"shorten_why": LONG}, ["shorten_why"]),
        ({"left_out_why": LONG}, ["left_out_why"]),
        ({"steps_shown": "1"}, ["left_out_why"]),
        ({"side": "inner"}, ["side"]),
    ],
    ids="-".join,
)
def test_laying(therapist: Client, plan: StripPlan, typed: dict[str, str], fields: list[str]) -> None:
    is_seen(therapist.post(f"/plans/{plan.pk}/on-the-skin/", {"version": "1", "posture": "sitting", **typed}), *fields)


def test_laying_at_home_names_each_open_question(therapist: Client, plan: StripPlan) -> None:
    response = therapist.post(f"/plans/{plan.pk}/on-the-skin/", {"version": "1", "removal": "home"})
    asked = [field.name for field in response.context["lay_form"] if field.errors]
    assert asked
    is_seen(response, *asked)


def test_damaged_hidden_fields_are_said_in_plain_words_and_nothing_is_lost(
    therapist: Client, plan: StripPlan, tape: Application
) -> None:
    other = StripPlanFactory()
    StripFactory(plan=other, position=1)
    laying = therapist.post(f"/plans/{other.pk}/on-the-skin/", {"version": "one", "posture": "sitting, knee bent"})
    typed = {"version": "one", "why": "typing slip", "posture": "sitting, knee bent"}
    correction = therapist.post(f"/applications/{tape.pk}/correct/", typed)
    for response in (laying, correction):
        page = response.content.decode()
        assert response.status_code == 422
        assert "This page is damaged. Open it again before you save; what you typed stands here still." in page
        assert "sitting, knee bent" in page
        assert [one for one in Errors(page).leads_to if one not in Errors(page).ids] == []


def test_steps_of_a_strip_that_another_tablet_took_out_are_told_as_its_change(
    therapist: Client, plan: StripPlan, signed_in: SignedIn
) -> None:
    StripFactory(plan=plan, position=2, shape="fan", start="one_end")
    page = therapist.get(f"/plans/{plan.pk}/")
    shown = [tick.name for _, ticks in page.context["lay_form"].checklist() for tick in ticks]
    other, colleague = signed_in()
    other.post(f"/plans/{plan.pk}/strips/2/remove/", {"version": "1"})
    typed = {"version": "1", "steps_shown": "1", "steps": shown, "posture": "sitting, knee bent"}
    response = therapist.post(f"/plans/{plan.pk}/on-the-skin/", typed)
    found = response.content.decode()
    assert (response.status_code, Application.objects.count()) == (422, 0)
    assert f"{colleague.full_name} changed this plan at 10:00." in found
    assert "sitting, knee bent" in found


@pytest.mark.parametrize(
    ("typed", "fields"),
    [
        ({"made_on": "2027-01-01"}, ["made_on"]),
        ({"made_at": "noon"}, ["made_at"]),
        ({"made_at": "08:00", "late_reason": LONG}, ["late_reason"]),
        ({"made_at": "08:00"}, ["late_reason"]),
        ({"goal": "win"}, ["goal"]),
        ({"note": "x" * 5001}, ["note"]),
    ],
    ids="-".join,
)
def test_screen(therapist: Client, typed: dict[str, str], fields: list[str]) -> None:
    address = f"/patients/{PatientFactory().pk}/screen/?region=knee&side=left"
    is_seen(therapist.post(address, {**answers(), **typed}), *fields)


def test_screen_answered_before_at_this_visit_unfolds_what_is_wrong(therapist: Client, now: datetime) -> None:
    screen = ScreenFactory(answers=answers(), made_at=now)
    address = f"/patients/{screen.patient_id}/screen/?region=calf&side=left"
    is_seen(therapist.post(address, {**answers(), "diabetes": "perhaps"}), "diabetes")


@pytest.mark.parametrize(
    ("typed", "fields"),
    [
        ({"said_back": "on"}, ["removal"]),
        ({"removal": "clinic"}, ["said_back"]),
        ({"removal": "clinic", "not_said_why": LONG}, ["not_said_why"]),
        ({"removal": "helper", "said_back": "on"}, ["helper"]),
    ],
    ids="-".join,
)
def test_handing_over(therapist: Client, tape: Application, typed: dict[str, str], fields: list[str]) -> None:
    is_seen(therapist.post(f"/applications/{tape.pk}/hand-over/", {"do": "finish", **typed}), *fields)


@pytest.mark.parametrize(
    ("typed", "fields"),
    [
        ({"how": "off", "by": "patient", "ended_at": "yesterday"}, ["ended_at"]),
        ({}, ["how", "by"]),
        ({"how": "skin", "by": "patient"}, ["signs"]),
        ({"how": "off", "by": "patient", "pain": "11"}, ["pain"]),
    ],
    ids=lambda given: "-".join(given) or "nothing",
)
def test_ending(therapist: Client, tape: Application, typed: dict[str, str], fields: list[str]) -> None:
    is_seen(therapist.post(f"/applications/{tape.pk}/end/", typed), *fields)


def test_the_reading_finds_what_is_folded_away() -> None:
    page = '<details><div id="id_a_error"><span class="field-error">x</span></div></details>'
    assert (Errors(page).folded, Errors(page.replace("<details", "<details open")).folded) == (["id_a_error"], [])
