"""The desk works its call list in a real browser: each ending, with scripts and without, and nothing typed is lost."""

import re
from collections.abc import Iterator
from datetime import timedelta

import pytest
import time_machine
from playwright.sync_api import Locator, Page, ViewportSize, expect

from clinic.models import Clinic, Visit
from reminders.models import CallItem
from taping.models import Application
from tests.browser.conftest import PHONE, TABLET, OpenPage, axe_faults, desk, sideways
from tests.factories import ApplicationFactory, CallItemFactory, PatientFactory, VisitFactory
from tests.factories.clinic import NOW

NOTE = "asked for her sister, rings back at five"
NINE = (NOW + timedelta(days=1)).replace(hour=14)  # 09:00 in New York


@pytest.fixture(autouse=True)
def clock(transactional_db: None, clinic: Clinic) -> Iterator[time_machine.Traveller]:
    with time_machine.travel(NOW) as traveller:
        yield traveller


def call(name: str, reason: str) -> CallItem:
    tape: Application = ApplicationFactory(patient=PatientFactory(full_name=name), applied_at=NOW - timedelta(days=9))
    item: CallItem = CallItemFactory(application=tape, reason=reason, words="May I cut the corner off?")
    return item


def card(page: Page, item: CallItem) -> Locator:
    return page.locator(f"#call-{item.pk}")


def press(page: Page, item: CallItem, words: str) -> None:
    card(page, item).get_by_role("button", name=re.compile(f"^{words}: ")).click()


def said(page: Page) -> Locator:
    return page.locator(".page-messages")


def stored(item: CallItem) -> CallItem:
    return CallItem.objects.get(pk=item.pk)


@pytest.mark.parametrize("viewport", [TABLET, PHONE], ids=["820", "360"])
@pytest.mark.parametrize("javascript", [True, False], ids=["with JavaScript", "without JavaScript"])
def test_each_ending_is_one_tap(open_page: OpenPage, javascript: bool, viewport: ViewportSize) -> None:
    """What becomes of the call is what the page says, and the next one can be worked at once."""
    spoke, silent = call("Ada Quill", "call_back"), call("Ben Dover", "call_back")
    over, off, sorted_out = call("Cora Lane", "reply"), call("Dora Lund", "overdue"), call("Edo Park", "undelivered")
    page = desk(open_page, javascript=javascript, viewport=viewport)
    if javascript:
        assert axe_faults(page) == []

    press(page, spoke, "Spoke")
    expect(said(page)).to_contain_text("Recorded: you spoke with them.")
    expect(card(page, spoke)).to_have_count(0)
    assert (stored(spoke).closed_at is not None, stored(spoke).closed_how) == (True, "spoke")

    card(page, silent).get_by_label("No answer: try again").select_option("tomorrow")
    press(page, silent, "No answer")
    expect(said(page)).to_contain_text("Recorded: no answer.")
    expect(card(page, silent)).to_contain_text("try again tomorrow 09:00")
    expect(card(page, silent)).to_contain_text("tried 1 time")
    assert (stored(silent).closed_at, stored(silent).try_again_at) == (None, NINE)

    press(page, over, "Hand to a therapist")
    expect(said(page)).to_contain_text("Handed to a therapist.")
    expect(card(page, over)).to_contain_text(f"with {over.application.therapist.full_name}")  # type: ignore[union-attr]

    card(page, off).get_by_label("Off since").select_option("2027-03-09")
    press(page, off, "It is off")
    expect(said(page)).to_contain_text("Recorded: the tape is off.")
    expect(card(page, off)).to_have_count(0)
    ended = stored(off).application
    assert ended is not None
    assert ended.ended_at is not None
    assert (ended.ended_at.date().isoformat(), ended.ended_how) == ("2027-03-09", "off")

    press(page, sorted_out, "Sorted out, with a note")
    expect(card(page, sorted_out)).to_contain_text("Write in the note how it was sorted out.")
    card(page, sorted_out).get_by_label("Note", exact=True).fill(NOTE)
    press(page, sorted_out, "Sorted out, with a note")
    expect(said(page)).to_contain_text("Sorted out and closed.")
    assert (stored(sorted_out).closed_how, stored(sorted_out).note) == ("sorted_out", NOTE)
    expect(page.locator("main")).to_contain_text("Today")
    assert sideways(page) == 0


def test_a_call_closed_by_mistake_comes_back(open_page: OpenPage) -> None:
    item = call("Ada Quill", "call_back")
    page = desk(open_page)
    press(page, item, "Spoke")
    page.get_by_role("link", name="Look at it, or put it back on the list").click()
    page.get_by_role("button", name="Put it back on the call list").click()
    page.goto("/")
    expect(card(page, item)).to_be_visible()


def test_the_desk_has_no_button_that_closes_a_reaction(open_page: OpenPage) -> None:
    item = call("Ada Quill", "skin_report")
    page = desk(open_page)
    expect(card(page, item)).to_contain_text("First ask: is it hard to breathe")
    buttons = card(page, item).get_by_role("button").all_inner_texts()
    assert [words.split(":")[0].strip() for words in buttons] == ["Hand to a therapist", "No answer", "Spoke"]
    press(page, item, "Spoke")
    expect(card(page, item)).to_contain_text("try again tomorrow 09:00")
    assert stored(item).closed_at is None


def test_a_note_begun_at_one_call_stays_while_another_and_a_visit_are_worked(open_page: OpenPage) -> None:
    mine, other = call("Ada Quill", "call_back"), call("Ben Dover", "call_back")
    visit = VisitFactory(patient=PatientFactory(full_name="Vera Sitt"), starts_at=NOW + timedelta(minutes=30))
    page = desk(open_page)
    card(page, mine).get_by_text("Write a note").click()
    note = card(page, mine).get_by_label("Note", exact=True)
    note.fill(NOTE)
    press(page, other, "Spoke")
    expect(card(page, other)).to_have_count(0)
    page.get_by_role("button", name="Arrived").click()
    expect(page.get_by_role("button", name="Done")).to_be_visible()
    assert Visit.objects.get(pk=visit.pk).state == "arrived"
    assert note.input_value() == NOTE
    press(page, mine, "Spoke")
    expect(card(page, mine)).to_have_count(0)
    assert stored(mine).note == NOTE


def test_after_a_button_the_keyboard_goes_on_from_there(open_page: OpenPage) -> None:
    first, second = call("Ada Quill", "call_back"), call("Ben Dover", "call_back")
    page = desk(open_page)
    card(page, first).get_by_role("button", name="Spoke").focus()
    page.keyboard.press("Enter")
    expect(card(page, first)).to_have_count(0)
    assert page.evaluate("document.activeElement.closest('article').id") == f"call-{second.pk}"


@pytest.mark.parametrize("fault", ["offline", "500"])
def test_where_nothing_is_recorded_it_is_said_and_the_note_stays(open_page: OpenPage, fault: str) -> None:
    item = call("Ada Quill", "call_back")
    page = desk(open_page)
    card(page, item).get_by_text("Write a note").click()
    card(page, item).get_by_label("Note", exact=True).fill(NOTE)
    if fault == "offline":
        page.context.set_offline(True)
    else:
        page.route(f"**/calls/{item.pk}/", lambda route: route.fulfill(status=500, body="<h1>a whole page</h1>"))
    press(page, item, "Spoke")
    expect(page.locator("#today-state")).to_contain_text("What you typed is still here")
    assert card(page, item).get_by_label("Note", exact=True).input_value() == NOTE
    page.context.set_offline(False)
    page.unroute(f"**/calls/{item.pk}/")
    press(page, item, "Spoke")
    expect(card(page, item)).to_have_count(0)
    assert (stored(item).closed_how, stored(item).note) == ("spoke", NOTE)


def test_two_taps_on_one_button_are_one_try(open_page: OpenPage) -> None:
    item = call("Ada Quill", "call_back")
    page = desk(open_page)
    card(page, item).get_by_role("button", name="No answer").dblclick()
    expect(card(page, item)).to_contain_text("tried 1 time")
    assert stored(item).tries == 1
