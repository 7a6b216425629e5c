"""Today in a real browser: it follows what happens, and never takes away what somebody is doing on it."""

from collections.abc import Iterator
from datetime import timedelta

import pytest
import time_machine
from django.contrib.sessions.models import Session
from playwright.sync_api import Page, expect

from clinic.models import Clinic
from reminders.models import CallItem
from taping.models import Application
from tests.browser.conftest import OpenPage, desk, log_in
from tests.factories import ApplicationFactory, CallItemFactory, PatientFactory, UserFactory, VisitFactory
from tests.factories.clinic import NOW


@pytest.fixture
def clock(transactional_db: None, clinic: Clinic) -> Iterator[time_machine.Traveller]:
    """The clinic's clock; the browser's own is more than a month off."""
    with time_machine.travel(NOW) as traveller:
        yield traveller


def call(name: str, **values: object) -> CallItem:
    tape: Application = ApplicationFactory(patient=PatientFactory(full_name=name), applied_at=NOW - timedelta(days=9))
    item: CallItem = CallItemFactory(application=tape, **{"reason": "call_back", **values})
    return item


def refresh(page: Page) -> None:
    with page.expect_response("**/live/"):
        page.evaluate("htmx.trigger('#today-live', 'wake')")


def test_what_is_typed_opened_or_stood_on_stays_while_the_list_moves_on(
    open_page: OpenPage, clock: time_machine.Traveller
) -> None:
    held, gone = call("Ada Quill"), call("Ben Dover")
    page = desk(open_page)
    mine = page.locator(f"#call-{held.pk}")
    mine.get_by_text("Write a note").click()
    note = mine.get_by_label("Note", exact=True)
    note.fill("no answer, try the helper")
    page.evaluate("window.before = document.activeElement")
    CallItem.objects.filter(pk=gone.pk).update(closed_at=NOW)
    CallItem.objects.filter(pk=held.pk).update(closed_at=NOW)
    call("Cora Lane", reason="skin_report", urgent=True)
    refresh(page)
    expect(page.locator("#calls ~ ol")).to_contain_text("Cora Lane")
    expect(page.locator("#calls ~ ol")).not_to_contain_text("Ben Dover")
    assert note.input_value() == "no answer, try the helper"
    assert page.evaluate("document.activeElement === window.before && document.activeElement.isConnected")
    expect(page.get_by_role("status").filter(has_text="New urgent skin report")).to_have_text(
        "New urgent skin report: Cora Lane, left knee."
    )


def test_a_list_nobody_uses_is_as_the_server_has_it(open_page: OpenPage, clock: time_machine.Traveller) -> None:
    gone = call("Ben Dover")
    page = desk(open_page)
    CallItem.objects.filter(pk=gone.pk).update(closed_at=NOW)
    VisitFactory(patient=PatientFactory(full_name="Vera Sitt"), starts_at=NOW + timedelta(minutes=30))
    refresh(page)
    expect(page.locator("main")).to_contain_text("Nobody has to be called.")
    expect(page.locator("main")).to_contain_text("Vera Sitt")


def test_an_opened_detail_stays_open(open_page: OpenPage, clock: time_machine.Traveller) -> None:
    held = call("Ada Quill")
    page = desk(open_page)
    words = page.locator(f"#call-{held.pk} details", has_text="What to say")
    words.locator("summary").click()
    page.locator("h1").click()
    call("Cora Lane")
    refresh(page)
    expect(page.locator("#calls ~ ol")).to_contain_text("Cora Lane")
    assert words.evaluate("one => one.open")


def test_after_log_out_elsewhere_it_leaves_for_the_log_in(open_page: OpenPage, clock: time_machine.Traveller) -> None:
    call("Ada Quill")
    page = desk(open_page)
    Session.objects.all().delete()
    page.evaluate("htmx.trigger('#today-live', 'wake')")
    page.wait_for_url("**/log-in/?next=/")
    assert "Ada Quill" not in page.content()
    assert page.get_by_label("Password").count() == 1


@pytest.mark.parametrize("fault", ["offline", "500"])
def test_no_answer_is_said_and_the_page_stays(open_page: OpenPage, clock: time_machine.Traveller, fault: str) -> None:
    call("Ada Quill")
    page = desk(open_page)
    if fault == "offline":
        page.context.set_offline(True)
    else:
        page.route("**/live/", lambda route: route.fulfill(status=500, body="<h1>a whole page</h1>"))
    page.evaluate("htmx.trigger('#today-live', 'wake')")
    expect(page.get_by_role("status").filter(has_text="No answer from the program")).to_be_visible()
    expect(page.locator("main")).to_contain_text("Ada Quill")
    expect(page.locator("main")).not_to_contain_text("a whole page")
    page.context.set_offline(False)
    page.unroute("**/live/")
    refresh(page)
    expect(page.locator("#today-state")).to_have_text("As of 10:00.")


def test_the_minutes_are_right_after_the_tablet_slept(open_page: OpenPage, clock: time_machine.Traveller) -> None:
    """Timers stand still while a tablet sleeps; the clock goes on."""
    ApplicationFactory(applied_at=NOW)
    UserFactory(username="dana")
    page = open_page()
    page.clock.install()
    # The server's clock does not move here: an answer of it would set the page's clock back.
    page.route("**/live/", lambda route: route.abort())
    log_in(page, "dana")
    left = page.locator("[data-ends-at]")
    expect(left).to_have_text("20 minutes left")
    page.clock.fast_forward("07:30")
    expect(left).to_have_text("13 minutes left")
    page.clock.fast_forward("20:00")
    expect(left).to_have_text("wait is over")


def test_the_minutes_are_right_as_soon_as_the_tablet_wakes(open_page: OpenPage, clock: time_machine.Traveller) -> None:
    """No timer has run yet: the page is only seen again (Page Visibility, visibilitychange)."""
    ApplicationFactory(applied_at=NOW)
    UserFactory(username="dana")
    page = open_page()
    page.clock.install(time=NOW)
    page.route("**/live/", lambda route: route.abort())
    log_in(page, "dana")
    left = page.locator("[data-ends-at]")
    page.clock.pause_at(NOW + timedelta(minutes=2, seconds=30))
    expect(left).to_have_text("18 minutes left")
    page.clock.set_system_time(NOW + timedelta(minutes=9, seconds=30))
    assert left.inner_text() == "18 minutes left"
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    assert left.inner_text() == "11 minutes left"


def test_without_scripts_the_page_tells_end_and_minutes(open_page: OpenPage, clock: time_machine.Traveller) -> None:
    ApplicationFactory(applied_at=NOW - timedelta(minutes=7))
    UserFactory(username="dana")
    page = open_page(javascript=False)
    log_in(page, "dana")
    expect(page.locator("#waits ~ ul")).to_contain_text("13 minutes left")
    expect(page.locator("#waits ~ ul")).to_contain_text("Easy movement from 10:13")
    expect(page.locator("#today-state")).to_have_text("As of 10:00.")
