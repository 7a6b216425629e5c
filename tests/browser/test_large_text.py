"""The whole job with letters twice as large, and zoomed to twice the size: nothing is cut off or out of reach."""

from collections.abc import Callable, Iterator

import pytest
import time_machine
from playwright.sync_api import Page, ViewportSize

from clinic.models import Clinic, Patient
from tests.browser.conftest import PHONE, TABLET, OpenPage, sideways
from tests.browser.flow import (
    Finger,
    all_on_record,
    somewhere_new,
    taped_before,
    therapist_at_work,
    visitor_today,
    work_begins,
)
from tests.factories.clinic import NOW

ZOOMED: ViewportSize = {"width": TABLET["width"] // 2, "height": TABLET["height"] // 2}
"""What is left of the tablet, in CSS pixels, at a zoom of 200 %."""
CUT_OFF = """() => [...document.querySelectorAll("body *")].filter(one => {
    const meant = (up) => up && (getComputedStyle(up).clipPath !== "none" || meant(up.parentElement));
    if (!one.checkVisibility() || one.closest(".visually-hidden, svg, [aria-hidden=true]")) { return false; }
    if (meant(one)) { return false; }
    const style = getComputedStyle(one);
    const hides = style.overflowX === "hidden" || style.overflowY === "hidden" || style.overflow === "clip";
    const boxed = hides || one.matches(".btn, label, summary, legend, th, td, dd, .notice, select");
    if (one.matches("input, textarea")) { return false; }
    return boxed && style.display !== "inline" && style.position !== "absolute" &&
        (one.scrollWidth > one.clientWidth + 1 || hides && one.scrollHeight > one.clientHeight + 1);
}).map(one => one.tagName + "." + one.className + ": " + one.textContent.trim().slice(0, 50) +
    ` ${one.scrollWidth} of ${one.clientWidth}, ${one.scrollHeight} of ${one.clientHeight}`)"""
OUT_OF_REACH = """() => [...document.querySelectorAll("a[href], button, input, select, textarea, summary")]
    .filter(one => {
    if (one.disabled || one.type === "hidden" || one.tabIndex < 0 || !one.checkVisibility()) { return false; }
    if (one.matches(".skip-link")) { return false; }
    one.scrollIntoView({block: "center", behavior: "instant"});
    const box = one.getBoundingClientRect();
    const hit = document.elementFromPoint(box.left + box.width / 2, box.top + box.height / 2);
    const line = [...one.getClientRects()][0];
    const begins = line && document.elementFromPoint(line.left + line.width / 2, line.top + line.height / 2);
    const label = one.labels && one.labels[0];
    return ![hit, begins].some(found => found && (one.contains(found) || label && label.contains(found)));
}).map(one => one.tagName + ": " + (one.ariaLabel || one.textContent || one.name).trim().slice(0, 50))"""


@pytest.fixture
def ada(transactional_db: None, clinic: Clinic) -> Iterator[Patient]:
    with time_machine.travel(NOW):
        yield visitor_today(therapist_at_work())


def faults_of(page: Page) -> list[str]:
    """What is too wide, cut off or out of reach on the page as it stands."""
    wide = [f"{sideways(page)} px too wide"] if sideways(page) else []
    cut = [f"cut off: {one}" for one in page.evaluate(CUT_OFF)]
    return [*wide, *cut, *(f"out of reach: {one}" for one in page.evaluate(OUT_OF_REACH))]


def twice_the_letters(page: Page) -> None:
    """The browser's own setting for the size of letters, 32 pixels in place of 16."""
    page.context.new_cdp_session(page).send("Page.setFontSizes", {"fontSizes": {"standard": 32, "fixed": 26}})


def _looking(page: Page, faults: list[str]) -> Callable[[str], None]:
    def look(name: str) -> None:
        faults.extend(f"{name}: {fault}" for fault in faults_of(page))

    return look


@pytest.mark.parametrize(
    ("viewport", "letters"), [(TABLET, 32), (PHONE, 32), (ZOOMED, 16)], ids=["820", "360", "820 zoomed"]
)
def test_nothing_is_cut_off_at_twice_the_size(
    open_page: OpenPage, ada: Patient, viewport: ViewportSize, letters: int
) -> None:
    page = open_page(viewport=viewport)
    if letters != 16:
        twice_the_letters(page)
    work_begins(page)
    assert page.evaluate("getComputedStyle(document.documentElement).fontSize") == f"{letters}px"
    faults: list[str] = []
    look = _looking(page, faults)
    look("today")
    page.goto(f"/patients/{taped_before(visitor_today(therapist_at_work('theo'))).patient_id}/screen/")
    look("place as last time")
    page.goto("/")
    somewhere_new(Finger(page), look, in_one=True, strips=2)
    all_on_record(ada)
    assert faults == []


@pytest.mark.parametrize(
    ("wrong", "fault"),
    [
        ('<p style="width:900px">wide</p>', "px too wide"),
        ('<p style="width:60px;overflow:hidden;white-space:nowrap">more than fits</p>', "cut off: P.: more than fits"),
        ('<button class="btn" style="width:30px">Incomprehensible</button>', "cut off: BUTTON.btn: Incomprehensible"),
        ('<button>Go</button><i style="position:fixed;inset:0;background:#fff"></i>', "out of reach: BUTTON: Go"),
    ],
)
def test_the_look_finds_what_is_wrong(open_page: OpenPage, wrong: str, fault: str) -> None:
    page = open_page(viewport=PHONE)
    page.set_content("<p>Fine</p><button>Fine</button>")
    assert faults_of(page) == []
    page.set_content(wrong)
    assert [one for one in faults_of(page) if fault in one] != []
