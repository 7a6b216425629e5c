"""How many taps the whole job takes with one finger, counted by what touched the page."""

from collections.abc import Callable, Iterator

import pytest
import time_machine
from playwright.sync_api import Page, ViewportSize

from clinic.models import Clinic, Patient
from taping.rules.skin import QUESTIONS
from tests.browser.conftest import PHONE, TABLET, OpenPage
from tests.browser.flow import (
    ASKED_AT_HAND_OVER,
    Finger,
    all_on_record,
    as_last_time,
    somewhere_new,
    taped_before,
    therapist_at_work,
    visitor_today,
    work_begins,
)
from tests.browser.touches import Touches, count_touches
from tests.factories.clinic import NOW

EVERY_WAY = [(TABLET, True), (TABLET, False), (PHONE, True), (PHONE, False)]
WAYS = ["820", "820 without JavaScript", "360", "360 without JavaScript"]
AS_LAST_TIME = [
    "Tape this patient: Ada Quill", "Left knee, to ease a sore spot", "Record the screen", "Use this plan",
    "It is on the skin now", "Record who takes it off", "The patient said it back to me", "Finish",
]  # fmt: skip
SOMEWHERE_NEW = [
    "Tape this patient: Ada Quill", "left knee (left)", "Ease a sore spot", "Record the screen", "Plan the strips",
    "Span", "Add this strip", "Another strip", "Span", "Add this strip",
    "It is on the skin now", "Record who takes it off", "The patient said it back to me", "Finish",
]  # fmt: skip
EACH_SKIN_QUESTION = [question.key for question in QUESTIONS]
EACH_REMOVAL_QUESTION = ["removal", *ASKED_AT_HAND_OVER]
"""Asked at handing over because nothing said before answers them; counted as answers, as those of the screen are."""
TOUCHED = "document.addEventListener('pointerdown', event => { if (event.isTrusted) { touched(); } }, true)"


@pytest.fixture
def ada(transactional_db: None, clinic: Clinic) -> Iterator[Patient]:
    with time_machine.travel(NOW):
        yield visitor_today(therapist_at_work())


def _count(page: Page, patch: pytest.MonkeyPatch) -> tuple[Touches, list[None]]:
    """The counter, and what the browser itself counts, where it runs scripts."""
    seen: list[None] = []
    page.expose_binding("touched", lambda source: seen.append(None))
    page.add_init_script(TOUCHED)
    work_begins(page)
    seen.clear()
    return count_touches(patch), seen


@pytest.mark.parametrize(("viewport", "javascript"), EVERY_WAY, ids=WAYS)
def test_again_as_last_time_takes_eight_taps_and_no_typing(
    open_page: OpenPage, ada: Patient, monkeypatch: pytest.MonkeyPatch, viewport: ViewportSize, javascript: bool
) -> None:
    taped_before(ada)
    page = open_page(javascript=javascript, viewport=viewport)
    touches, seen = _count(page, monkeypatch)
    as_last_time(Finger(page))
    all_on_record(ada)
    assert touches.skin_answers == EACH_SKIN_QUESTION
    assert touches.removal_answers == EACH_REMOVAL_QUESTION
    assert (touches.numbers, touches.typed) == ([], [])
    assert touches.taps == AS_LAST_TIME
    assert len(touches.taps) <= 8
    assert len(seen) == (touches.every_one if javascript else 0)


def test_straight_to_the_end_it_is_eight_even_with_the_choice_of_who_takes_it_off_among_the_taps(
    open_page: OpenPage, ada: Patient, monkeypatch: pytest.MonkeyPatch
) -> None:
    taped_before(ada)
    page = open_page(viewport=PHONE)
    touches, _ = _count(page, monkeypatch)
    as_last_time(Finger(page), straight=True)
    all_on_record(ada)
    assert touches.removal_answers == EACH_REMOVAL_QUESTION
    assert len([*touches.taps, "removal"]) <= 8


@pytest.mark.parametrize(("viewport", "javascript"), EVERY_WAY, ids=WAYS)
def test_new_place_takes_sixteen_taps_and_two_numbers(
    open_page: OpenPage, ada: Patient, monkeypatch: pytest.MonkeyPatch, viewport: ViewportSize, javascript: bool
) -> None:
    page = open_page(javascript=javascript, viewport=viewport)
    touches, seen = _count(page, monkeypatch)
    somewhere_new(Finger(page), strips=2)
    all_on_record(ada)
    assert touches.skin_answers == EACH_SKIN_QUESTION
    assert touches.removal_answers == EACH_REMOVAL_QUESTION
    assert (touches.numbers, touches.typed) == (["span", "span"], [])
    assert touches.taps == SOMEWHERE_NEW
    assert len(touches.taps) <= 16
    assert len(seen) == (touches.every_one if javascript else 0)


CONTROLS = """<button>Go</button><label for="n">No</label><input type="radio" name="rash" id="n">
    <label>Why <input name="why"></label>
    <label>Span <input name="span" inputmode="decimal"></label>"""


def test_the_counter_counts_each_touch_and_lets_nothing_else_through(
    open_page: OpenPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = open_page()
    page.route("**/screen/", lambda route: route.fulfill(body=CONTROLS, content_type="text/html"))
    page.goto("/screen/")
    touches = count_touches(monkeypatch)
    page.get_by_text("Go").tap()
    page.get_by_text("No").tap()
    for name, text in (("span", "30"), ("why", "stairs")):
        page.locator(f"[name={name}]").tap()
        page.locator(f"[name={name}]").fill(text)
    assert touches == Touches(["Go", "Span", "Why"], ["rash"], [], ["span"], ["why"])
    acts: tuple[Callable[..., object], ...] = (
        page.get_by_text("Go").click,
        page.get_by_text("No").check,
        page.locator("body").press,
        page.reload,
        page.mouse.click,
        page.keyboard.press,
    )
    for act in acts:
        with pytest.raises(AssertionError, match="is not counted"):
            act("x")
    with pytest.raises(AssertionError, match="tap the field"):
        page.locator("[name=span]").fill("31")
