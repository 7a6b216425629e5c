"""Every page of the demo in a real browser, at three widths, light and dark, with an accessibility scan of each."""

from urllib.parse import urlsplit

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Page, ViewportSize

from clinic.models import Clinic
from reminders.demo.loading import demo_load
from reminders.demo.reading import fixtures_read
from tests.browser.conftest import OLD_PHONE, PHONE, TABLET, WIDE, OpenPage, axe_faults, log_in, sideways
from tests.browser.lock import LOCKED, lock, unlock
from tests.browser.pages import NO_PAGE, STANDS_AFTER, addresses, names
from tests.clinic.factor import factor_for
from tests.factories import UserFactory

PASSWORD = "walk the long harbour"
NOT_STAFF = ("log_in", "link", "stop")


def test_every_address_is_a_page_that_is_looked_at_or_is_known_not_to_be_one(transactional_db: None) -> None:
    demo_load(fixtures_read(), timezone.now())
    listed = {name.partition(":")[0] for name in addresses()} | NO_PAGE | STANDS_AFTER
    assert names() == listed


def _log_in(page: Page, username: str) -> None:
    page.goto("/log-in/")
    page.get_by_label("Log-in name").fill(username)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Log in").click()
    page.wait_for_url("**/")


def _look(page: Page, name: str, address: str) -> list[str]:
    """What is wrong with one page: its heading, its title, its width, the scan's findings, or that it is another."""
    if name == LOCKED:
        lock(page)
    page.goto(address)
    faults = axe_faults(page)
    if urlsplit(page.url).path != urlsplit(address).path:
        faults.append(f"leads to {page.url}")
    if page.locator("h1").count() != 1:
        faults.append(f"{page.locator('h1').count()} first headings")
    if not page.title() or page.title().startswith("·"):
        faults.append(f"title {page.title()!r}")
    if sideways(page):
        faults.append(f"{sideways(page)} px too wide")
    if name == LOCKED:
        unlock(page, PASSWORD)
        page.wait_for_url("**/")
    return [f"{name}: {fault}" for fault in faults]


@pytest.mark.parametrize(
    ("viewport", "dark"),
    # The colours are the same at every width: at the widest, light alone.
    [(WIDE, False), (TABLET, False), (TABLET, True), (PHONE, False), (PHONE, True)],
    ids=["1280-light", "820-light", "820-dark", "360-light", "360-dark"],
)
def test_nothing_is_wrong_with_any_page(open_page: OpenPage, viewport: ViewportSize, dark: bool) -> None:
    demo_load(fixtures_read(), timezone.now())
    page = open_page(viewport=viewport, dark=dark)
    stranger = open_page(viewport=OLD_PHONE if viewport is PHONE else viewport, dark=dark)
    looked_at = addresses()
    _log_in(page, "mira")
    faults: list[str] = []
    for name, address in looked_at.items():
        faults += _look(stranger if name.startswith(NOT_STAFF) else page, name, address)
    desk = open_page(viewport=viewport, dark=dark)
    _log_in(desk, "dana")
    faults += _look(desk, "today at the desk", "/")
    assert faults == []


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_nothing_is_wrong_with_the_page_that_gives_up_the_second_factor(
    open_page: OpenPage, clinic: Clinic, dark: bool
) -> None:
    therapist = UserFactory(username="thea")
    page = open_page(viewport=PHONE, dark=dark)
    log_in(page, "thea")
    factor_for(therapist)
    assert [fault for name in sorted(STANDS_AFTER) for fault in _look(page, name, reverse(name))] == []
