"""A real Chromium against the real server. Where it cannot run it is skipped in sight; under CI it fails."""

import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, ViewportSize, expect, sync_playwright
from pytest_django.live_server_helper import LiveServer

from tests.factories import UserFactory
from tests.factories.clinic import PASSWORD

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
WIDE: ViewportSize = {"width": 1280, "height": 900}
TABLET: ViewportSize = {"width": 820, "height": 1180}
PHONE: ViewportSize = {"width": 360, "height": 740}
OLD_PHONE: ViewportSize = {"width": 320, "height": 568}

# The browser's driver runs an event loop in this thread; the database is still used by one thread at a time.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if "tests/browser" in str(item.path):
            item.add_marker(pytest.mark.browser)
            # Now and then the browser or its driver trips over a busy machine. A test that fails is tried once more,
            # and told in the summary ("rerun"); what fails twice has failed.
            item.add_marker(pytest.mark.flaky(reruns=1))
            item.add_marker(pytest.mark.django_db(transaction=True))


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    if CHROMIUM is None:
        if os.environ.get("CI"):
            pytest.fail("Chromium is missing: apt-get install chromium")
        pytest.skip("Chromium is missing: apt-get install chromium")
    with sync_playwright() as driver:
        chromium = driver.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield chromium
        chromium.close()


OpenPage = Callable[..., Page]


@pytest.fixture
def open_page(browser: Browser, live_server: LiveServer) -> Iterator[OpenPage]:
    """open_page(javascript=False, viewport=PHONE, dark=True) gives a page of a new browser context."""
    with ExitStack() as stack:

        def make(
            *,
            javascript: bool = True,
            viewport: ViewportSize | None = None,
            dark: bool = False,
            zone: str = "America/New_York",
        ) -> Page:
            context: BrowserContext = browser.new_context(
                base_url=live_server.url,
                java_script_enabled=javascript,
                viewport=viewport or TABLET,
                has_touch=True,
                color_scheme="dark" if dark else "light",
                locale="en-US",
                timezone_id=zone,
            )
            stack.callback(context.close)
            context.set_default_timeout(10_000)
            page = context.new_page()
            page.on("request", lambda request: _stay_home(request.url, live_server.url))
            return page

        yield make


def _stay_home(url: str, home: str) -> None:
    assert url.startswith((home, "data:", "about:", "blob:")), f"the page asked another host: {url}"


def log_in(page: Page, username: str) -> None:
    """Ends when the page after it has loaded, its scripts with it: a test may then cut the line or move the clock."""
    page.goto("/log-in/")
    page.get_by_label("Log-in name").fill(username)
    page.get_by_label("Password").fill(PASSWORD)
    with page.expect_navigation(wait_until="load"):
        page.get_by_role("button", name="Log in").click()


def desk(open_page: OpenPage, *, javascript: bool = True, viewport: ViewportSize = WIDE, **context: str) -> Page:
    """The front desk at work: Dana Desk is logged in, and Today stands on the screen."""
    UserFactory(username="dana", full_name="Dana Desk", desk=True)
    page = open_page(javascript=javascript, viewport=viewport, **context)
    log_in(page, "dana")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Today")
    return page


def axe_faults(page: Page) -> list[str]:
    """What the accessibility scan finds on the page as it stands: rule and element, one line each."""
    found = Axe().run(page).response["violations"]
    return [f"{fault['id']}: {node['target']}: {node['failureSummary']}" for fault in found for node in fault["nodes"]]


def sideways(page: Page) -> int:
    """How many pixels the page is wider than its window; 0 where nobody has to scroll sideways."""
    return int(page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth"))
