"""Locking a session and going on, for what looks at the lock page: it stands only while a session is locked."""

from playwright.sync_api import Page

LOCKED = "locked"
"""The name of the lock page in pages.py."""


def lock(page: Page) -> None:
    """Lock the session of whoever is logged in; the lock page stands on the screen."""
    page.goto("/")
    page.get_by_role("button", name="Lock", exact=True).click()
    page.wait_for_url("**/locked/**")


def unlock(page: Page, password: str) -> None:
    """Go on with the password of whoever is logged in."""
    page.get_by_label("Your password").fill(password)
    page.get_by_role("button", name="Unlock").click()
