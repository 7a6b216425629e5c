"""What every page weighs on the wire, served as in earnest: named and compressed files, a browser's own cache."""

import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, BrowserContext, Page

from tests.browser.conftest import TABLET
from tests.browser.screenshots import PASSWORD, demo_served, who_sees

FIRST, LATER, LINK = 150_000, 25_000, 40_000
"""Bytes, headers included: the first page of a staff member, every later one, the patient's page in all."""
PATIENT = ("link_", "stop_page")


@pytest.fixture(scope="module")
def served() -> Iterator[tuple[str, dict[str, str]]]:
    """The demo's address and those of its pages, by name; a process of its own, as a clinic starts it."""
    with demo_served() as found:
        yield found


@dataclass
class Wire:
    """Counts what a page's requests bring over the network; what the browser had kept counts nothing."""

    page: Page
    brought: dict[str, int] = field(default_factory=dict)
    foreign: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        self._addresses: dict[str, str] = {}
        devtools = self.page.context.new_cdp_session(self.page)
        devtools.send("Network.enable")
        devtools.on("Network.requestWillBeSent", self._sent)
        devtools.on("Network.loadingFinished", self._finished)

    def _sent(self, event: dict[str, Any]) -> None:
        address = event["request"]["url"]
        if "redirectResponse" in event:
            before = event["redirectResponse"]
            self._add(before["url"], int(before["encodedDataLength"]))
        self._addresses[event["requestId"]] = address

    def _finished(self, event: dict[str, Any]) -> None:
        self._add(self._addresses.get(event["requestId"], "?"), int(event["encodedDataLength"]))

    def _add(self, address: str, size: int) -> None:
        if not address.startswith("data:"):
            self.brought[address] = self.brought.get(address, 0) + size

    def of(self, address: str) -> int:
        """Bytes that opening this page brings, pictures further down included.

        The mark in the browser's tab, 600 bytes, is fetched when the page is already there and may not be counted.
        """
        self.brought.clear()
        self._addresses.clear()
        answer = self.page.goto(address)
        assert answer is not None
        assert answer.status in (200, 404), f"{address} answers {answer.status}"
        self.page.evaluate("document.querySelectorAll('img').forEach(one => one.loading = 'eager')")
        self.page.wait_for_function("[...document.images].every(one => one.complete)")
        home = urlsplit(self.page.url).netloc
        self.foreign |= {one for one in self._addresses.values() if urlsplit(one).netloc not in ("", home)}
        return sum(self.brought.values())


def _fresh(browser: Browser, home: str, state: Any = None) -> BrowserContext:
    return browser.new_context(base_url=home, viewport=TABLET, storage_state=state)


def _logged_in(browser: Browser, home: str, who: str) -> Any:
    """The cookies of somebody logged in; the browser that fetched them is closed, and with it what it had kept."""
    with _fresh(browser, home) as context:
        page = context.new_page()
        page.goto("/log-in/")
        page.get_by_label("Log-in name").fill(who)
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Log in").click()
        page.wait_for_url(f"{home}/")
        return context.storage_state()


def _too_heavy(measured: dict[str, int], limit: int) -> dict[str, int]:
    return {name: size for name, size in measured.items() if size > limit}


def _told(title: str, measured: dict[str, int]) -> None:
    heaviest = sorted(measured, key=lambda name: -measured[name])[:8]
    sys.stdout.write(f"{title}: " + ", ".join(f"{name} {measured[name]:,} B" for name in heaviest) + "\n")


def test_first_page_of_a_day_is_light(browser: Browser, served: tuple[str, dict[str, str]]) -> None:
    home, addresses = served
    states = {"mira": _logged_in(browser, home, "mira")}
    measured, foreign = {}, set()
    for name, address in addresses.items():
        if not name.startswith(PATIENT):
            with _fresh(browser, home, states.get(who_sees(name))) as context:
                wire = Wire(context.new_page())
                measured[name] = wire.of(address)
                foreign |= wire.foreign
    _told("first page", measured)
    assert min(measured.values()) > 20_000, "the style sheets were not counted: the browser had kept them"
    assert _too_heavy(measured, FIRST) == {}
    assert foreign == set()


def test_every_later_page_is_light(browser: Browser, served: tuple[str, dict[str, str]]) -> None:
    home, addresses = served
    with _fresh(browser, home, _logged_in(browser, home, "mira")) as context:
        wire = Wire(context.new_page())
        wire.of("/")
        measured = {name: wire.of(address) for name, address in addresses.items() if who_sees(name)}
    _told("later page", measured)
    assert _too_heavy(measured, LATER) == {}
    assert wire.foreign == set()


def test_patients_page_is_light_on_a_telephone(browser: Browser, served: tuple[str, dict[str, str]]) -> None:
    home, addresses = served
    measured, foreign = {}, set()
    for name, address in addresses.items():
        if name.startswith(PATIENT):
            with _fresh(browser, home) as context:
                wire = Wire(context.new_page())
                measured[name] = wire.of(address)
                foreign |= wire.foreign
    _told("patient's page", measured)
    assert "link_page" in measured
    assert _too_heavy(measured, LINK) == {}
    assert foreign == set()
