"""The desk books, moves and cancels in a real browser: by mouse, by keyboard alone, by touch on a telephone."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from playwright.sync_api import Page, ViewportSize, expect

from clinic.models import Clinic, Visit
from taping.models import Application
from tests.browser.conftest import PHONE, TABLET, WIDE, OpenPage, axe_faults, desk, sideways
from tests.browser.touches import count_touches
from tests.factories import ApplicationFactory, PatientFactory, UserFactory, VisitFactory
from tests.factories.clinic import NOW

MONDAY_EIGHT = datetime(2027, 3, 15, 12, 0, tzinfo=UTC)  # 08:00 in New York, after the clocks went forward on Sunday
MOST_TABS = 60


@pytest.fixture(autouse=True)
def clock(transactional_db: None, clinic: Clinic) -> Iterator[time_machine.Traveller]:
    with time_machine.travel(NOW) as traveller:
        yield traveller


@pytest.fixture
def tape() -> Application:
    """On since Wednesday 10 March: day 4 is Sunday, on which the clinic is closed, and day 5 Monday."""
    made: Application = ApplicationFactory(patient=PatientFactory(full_name="Ada Quill"), removal="clinic")
    return made


def is_booked_inside_the_window(page: Page, tape: Application) -> None:
    expect(page.locator(".page-messages")).to_contain_text("Booked: Mon 15 Mar at 08:00 with")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Today")
    visit = Visit.objects.get()
    tape.refresh_from_db()
    assert (visit.starts_at, visit.purpose, visit.patient) == (MONDAY_EIGHT, "removal", tape.patient)
    assert (tape.removal_visit, tape.opens_on <= visit.starts_at.date() <= tape.closes_on) == (visit, True)


@pytest.mark.parametrize("javascript", [True, False], ids=["with JavaScript", "without JavaScript"])
def test_two_clicks_book_inside_the_window(open_page: OpenPage, tape: Application, javascript: bool) -> None:
    page = desk(open_page, javascript=javascript)
    page.get_by_role("link", name="Book the removal").click()
    inside = page.locator("#times")
    expect(inside).to_contain_text("day 4 of the wear window · no opening hours on this weekday")
    expect(inside).to_contain_text("day 5 of the wear window · 20 times free")
    text = inside.inner_text()
    assert text.index("day 4 of the wear window") < text.index("day 5 of the wear window") < text.index("tomorrow")
    page.get_by_role("button", name="Book Mon 15 Mar 08:00").click()
    is_booked_inside_the_window(page, tape)
    expect(page.locator("#follow-ups ~ p")).to_contain_text("Nothing to book")


def test_two_taps_book_inside_the_window_on_a_telephone(
    open_page: OpenPage, tape: Application, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = desk(open_page, viewport=PHONE)
    touches = count_touches(monkeypatch)
    page.get_by_role("link", name="Book the removal").tap()
    time = page.get_by_role("button", name="Book Mon 15 Mar 08:00")
    expect(time).to_be_visible()
    box = time.bounding_box()
    assert box is not None
    assert (box["height"] >= 48, box["width"] >= 48, sideways(page)) == (True, True, 0)
    assert axe_faults(page) == []
    time.tap()
    is_booked_inside_the_window(page, tape)
    assert (len(touches.taps), touches.typed) == (2, [])


def tab_to(page: Page, words: str) -> None:
    """Press Tab until the control with these words has the focus, which must be seen all the way."""
    for _ in range(MOST_TABS):
        page.keyboard.press("Tab")
        seen = page.evaluate(
            """() => {
                const one = document.activeElement, box = one.getBoundingClientRect(), look = getComputedStyle(one);
                // a date's own picker is drawn by the browser, inside the field
                const drawn = look.outlineStyle !== "none" || look.boxShadow !== "none" || one.type === "date";
                const words = one.textContent.replace(/\\s+/g, " ").trim() || one.outerHTML;
                return [words, box.width > 0 && box.bottom > 0 && drawn];
            }"""
        )
        assert seen[1] or "Go to the page" in seen[0], f"the focus on {seen[0]!r} cannot be seen"
        if seen[0] == words:
            return
    raise AssertionError(f"{words!r} is not reached with {MOST_TABS} tabs")


def test_the_keyboard_alone_books_inside_the_window(open_page: OpenPage, tape: Application) -> None:
    page = desk(open_page)
    tab_to(page, "Book the removal")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Book a visit for Ada Quill")
    tab_to(page, "Book Mon 15 Mar 08:00")
    page.keyboard.press("Enter")
    is_booked_inside_the_window(page, tape)


def test_from_the_diary_three_taps_and_a_name_book_a_visit(
    open_page: OpenPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Book with the therapist, whom (the name typed, sent with the keyboard's own key), which time."""
    therapist = UserFactory(full_name="Thea Pist")
    PatientFactory(full_name="Ada Quill")
    page = desk(open_page, viewport=TABLET)
    page.goto("/diary/?day=2027-03-11")
    page.get_by_role("link", name="Book with Thea Pist").tap()
    expect(page.get_by_label("Find the patient")).to_be_focused()
    page.keyboard.type("quill")
    page.keyboard.press("Enter")
    page.get_by_role("link", name="Ada Quill").tap()
    page.get_by_role("button", name="Book tomorrow 09:30").tap()
    expect(page.locator(".page-messages")).to_contain_text("Booked: tomorrow at 09:30 with Thea Pist")
    assert Visit.objects.get().therapist == therapist


@pytest.mark.parametrize("viewport", [WIDE, PHONE], ids=["1280", "360"])
def test_three_taps_move_a_visit_and_three_cancel_it(
    open_page: OpenPage, viewport: ViewportSize, monkeypatch: pytest.MonkeyPatch
) -> None:
    visit = VisitFactory(patient=PatientFactory(full_name="Ada Quill"), starts_at=NOW + timedelta(hours=2))
    page = desk(open_page, viewport=viewport)
    page.get_by_role("link", name="Diary").tap()
    touches = count_touches(monkeypatch)
    page.get_by_role("link", name="12:00–12:30").tap()
    page.get_by_role("link", name="Move to another time").tap()
    page.get_by_role("button", name="Move to today 15:00").tap()
    expect(page.locator(".page-messages")).to_contain_text("Moved: today at 15:00")
    assert (len(touches.taps), Visit.objects.get().starts_at) == (3, NOW + timedelta(hours=5))
    page.get_by_role("link", name="Open that day").tap()
    before = len(touches.taps)
    page.get_by_role("link", name="15:00–15:30").tap()
    page.get_by_text("Cancel this visit").tap()
    page.get_by_role("button", name="Yes, cancel the visit").tap()
    expect(page.locator(".page-messages")).to_contain_text("Ada Quill: cancelled.")
    assert (len(touches.taps) - before, Visit.objects.get(pk=visit.pk).state) == (3, "cancelled")


def test_a_time_taken_while_the_page_was_open_costs_nothing_that_was_typed(open_page: OpenPage) -> None:
    therapist = UserFactory(full_name="Thea Pist")
    patient = PatientFactory(full_name="Ada Quill")
    page = desk(open_page)
    page.goto(f"/visits/book/?patient={patient.pk}")
    page.get_by_label("Note for the diary").fill("comes with her mother")
    page.get_by_label("Minutes").fill("45")
    page.get_by_label("Minutes").press("Tab")
    expect(page.get_by_role("button", name="Book tomorrow 17:30")).to_have_count(0)  # three quarters do not fit
    VisitFactory(therapist=therapist, starts_at=NOW + timedelta(hours=22))
    page.get_by_role("button", name="Book tomorrow 08:00").click()
    expect(page.locator(".error-summary")).to_be_focused()
    expect(page.locator("#id_starts_at")).to_contain_text("That time was just taken.")
    assert page.get_by_label("Note for the diary").input_value() == "comes with her mother"
    assert page.get_by_label("Minutes").input_value() == "45"
    assert Visit.objects.count() == 1
