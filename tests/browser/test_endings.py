"""Pain, single strips, the end of a tape and its skin report in a real browser, with JavaScript and without."""

from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Page, ViewportSize, expect

from clinic.models import Clinic, OpeningHours, User
from taping.models import Application, PainScore, SkinReport, StripEvent
from tests.browser.conftest import PHONE, TABLET, OpenPage, axe_faults, log_in, sideways
from tests.factories import ApplicationFactory, StripFactory, UserFactory


@pytest.fixture
def therapist(transactional_db: None) -> User:
    Clinic(name="Harbour Lane Clinic", emergency_number="911").save()
    OpeningHours.objects.create(weekday=0, opens="08:00", closes="18:00")
    made: User = UserFactory(username="mira")
    return made


@pytest.fixture
def tape(therapist: User) -> Application:
    """Tape of two strips, on for an hour."""
    at = timezone.now() - timedelta(hours=1)
    made: Application = ApplicationFactory(applied_at=at)
    for position in (1, 2):
        StripFactory(plan=made.plan, position=position)
    return made


def _fits(page: Page, javascript: bool) -> None:
    """Nothing is too small, too wide or hard to read. Only a page with JavaScript can be measured from outside."""
    if not javascript:
        return
    assert axe_faults(page) == []
    assert sideways(page) == 0
    sizes = page.evaluate(
        "[...document.querySelectorAll('.pain-row .btn, .pain-row label')].filter(e => e.offsetParent)"
        ".map(e => e.getBoundingClientRect()).filter(r => r.width < 48 || r.height < 48).length"
    )
    assert sizes == 0


def _rows(page: Page) -> int:
    """How many rows the eleven buttons of the first scale take."""
    return int(
        page.evaluate(
            "new Set([...document.querySelector('.pain-row').children].map(e => e.getBoundingClientRect().top)).size"
        )
    )


@pytest.mark.parametrize(
    ("javascript", "viewport", "rows"),
    [(True, TABLET, 1), (True, PHONE, 2), (False, PHONE, None)],
    ids=["script at 820", "script at 360", "plain at 360"],
)
def test_one_tap_keeps_a_score_and_a_correction_keeps_both(
    open_page: OpenPage, tape: Application, javascript: bool, viewport: ViewportSize, rows: int | None
) -> None:
    page = open_page(javascript=javascript, viewport=viewport)
    log_in(page, "mira")
    page.goto(f"/applications/{tape.pk}/")
    assert rows is None or _rows(page) == rows
    _fits(page, javascript)
    before = page.locator(f"#pain-before-{tape.plan_id}")
    before.get_by_role("button", name="6", exact=True).click()
    expect(before.locator(".pain-said")).to_have_text("6")
    before.get_by_text("Correct it").click()
    before.get_by_label("Why it is corrected").fill("pressed the wrong one")
    before.locator("button[value='10']").click()
    expect(before.locator(".pain-said")).to_have_text("10")
    expect(before).to_contain_text("Before that 6 of 10")
    assert list(PainScore.objects.order_by("id").values_list("moment", "score")) == [("before", 6), ("before", 10)]


@pytest.mark.parametrize("javascript", [True, False], ids=["script", "plain"])
def test_from_a_strip_off_to_the_closed_report(open_page: OpenPage, tape: Application, javascript: bool) -> None:
    page = open_page(javascript=javascript, viewport=PHONE)
    log_in(page, "mira")
    page.goto(f"/patients/{tape.patient_id}/")
    page.get_by_role("link", name="A strip is trimmed, off or replaced").click()
    _fits(page, javascript)
    for number in (1, 2):
        page.get_by_label("One strip off").check()
        page.get_by_label(f"Strip {number}, I strip").check()
        page.get_by_role("button", name="Record what happened").click()
        if number == 1:
            expect(page.get_by_text("One strip off: recorded.")).to_be_visible()
            page.get_by_role("link", name="A strip is trimmed, off or replaced").click()
    expect(page.get_by_text("Was that the last strip?")).to_be_visible()
    _fits(page, javascript)
    page.get_by_label("Taken off for the skin").check()
    page.get_by_label("A colleague, here at the clinic").check()
    page.get_by_role("button", name="Record that it is off").click()
    expect(page.get_by_role("heading", name="Nothing was saved.")).to_be_visible()
    page.get_by_label("A blister").check()
    page.locator("[name=pain][value='4']").check()
    page.get_by_role("button", name="Record that it is off").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Skin report")
    _fits(page, javascript)
    page.get_by_label("Blister or wound where the tape pulled").check()
    page.get_by_label("nobody").check()
    page.get_by_role("button", name="Record the finding and close the report").click()
    expect(page.get_by_text("Earlier reaction, left knee")).to_be_visible()
    _fits(page, javascript)
    ended = Application.objects.get()
    assert (ended.ended_how, ended.ended_by, StripEvent.objects.count()) == ("skin", "colleague", 1)
    assert (SkinReport.objects.get().grade, PainScore.objects.get().score) == ("tension_injury", 4)
