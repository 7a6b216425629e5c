"""A shared tablet in a real browser: the screen hides by itself, and after log-out nothing comes back."""

from typing import Any

import pytest
from django.contrib.sessions.models import Session
from playwright.sync_api import expect
from pytest_django import Settings

from clinic.models import Clinic, Patient
from tests.browser.conftest import PHONE, OpenPage, axe_faults, log_in, sideways
from tests.browser.lock import lock, unlock
from tests.factories import PatientFactory, UserFactory
from tests.factories.clinic import PASSWORD

STORAGES = "[window.localStorage.length, window.sessionStorage.length]"


@pytest.fixture
def ada(transactional_db: None, clinic: Clinic, settings: Settings) -> Patient:
    settings.IDLE_LOCK_MINUTES = 10
    UserFactory(username="thea")
    UserFactory(username="dana", desk=True)
    patient: Patient = PatientFactory(full_name="Ada Quill")
    return patient


def test_the_screen_hides_by_itself_and_the_password_leads_back(open_page: OpenPage, ada: Patient) -> None:
    page = open_page()
    page.clock.install()
    log_in(page, "thea")
    page.goto(f"/patients/{ada.pk}/")
    page.clock.fast_forward("09:00")
    page.locator("h1").click()
    page.clock.fast_forward("09:30")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Ada Quill")
    page.clock.fast_forward("00:40")
    page.wait_for_url("**/locked/**")
    assert "Quill" not in page.content()
    assert axe_faults(page) == []
    unlock(page, PASSWORD)
    page.wait_for_url(f"**/patients/{ada.pk}/")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Ada Quill")


def test_a_form_being_filled_in_comes_back_after_the_lock(open_page: OpenPage, ada: Patient) -> None:
    page = open_page()
    page.clock.install()
    log_in(page, "thea")
    page.goto("/patients/add/")
    page.get_by_label("Full name").fill("Bea Long")
    page.clock.fast_forward("10:30")
    page.wait_for_url("**/locked/**")
    unlock(page, PASSWORD)
    page.get_by_role("button", name="Send it now").click()
    expect(page.get_by_label("Full name")).to_have_value("Bea Long")
    assert Patient.objects.count() == 1


@pytest.mark.parametrize("javascript", [True, False], ids=["with JavaScript", "without"])
def test_it_is_locked_by_a_button_and_somebody_else_takes_over(
    open_page: OpenPage, ada: Patient, javascript: bool
) -> None:
    page = open_page(javascript=javascript)
    log_in(page, "thea")
    page.goto(f"/patients/{ada.pk}/")
    page.get_by_role("button", name="Lock").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Locked")
    page.get_by_role("button", name="Log in as somebody else").click()
    page.get_by_label("Log-in name").fill("dana")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Log in").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Today")
    assert page.url.endswith("/")


@pytest.mark.parametrize("javascript", [True, False], ids=["with JavaScript", "without"])
@pytest.mark.parametrize("then", ["nobody", "dana"])
def test_after_log_out_back_shows_nobodys_data(open_page: OpenPage, ada: Patient, javascript: bool, then: str) -> None:
    page = open_page(javascript=javascript)
    log_in(page, "thea")
    page.get_by_role("link", name="Patients").click()
    page.goto(f"/patients/{ada.pk}/")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Ada Quill")
    page.get_by_role("button", name="Log out").click()
    page.wait_for_url("**/log-in/")
    seen: list[Any] = []
    if then == "dana":
        log_in(page, "dana")
        with page.expect_navigation(url="**/log-in/", wait_until="load"):
            page.get_by_role("button", name="Log out").click()
    for _ in range(3):
        page.go_back()
        page.wait_for_load_state()
        seen.append("Quill" in page.content())
    assert seen == [False] * 3
    if javascript:
        assert page.evaluate(STORAGES) == [0, 0]


def test_a_page_kept_in_memory_is_hidden_and_asked_for_anew(open_page: OpenPage, ada: Patient) -> None:
    """Browsers may keep a left page whole, whatever its headers say (HTML standard, 7.4.6: bfcache)."""
    page = open_page()
    log_in(page, "thea")
    page.goto(f"/patients/{ada.pk}/")
    page.evaluate("window.dispatchEvent(new PageTransitionEvent('pagehide', {persisted: true}))")
    assert page.evaluate("document.documentElement.hidden")
    Session.objects.all().delete()
    page.evaluate("window.dispatchEvent(new PageTransitionEvent('pageshow', {persisted: true}))")
    page.wait_for_url("**/log-in/**")
    assert "Quill" not in page.content()


def test_a_session_that_ended_elsewhere_hides_the_page_at_the_next_touch(open_page: OpenPage, ada: Patient) -> None:
    page = open_page()
    page.clock.install()
    log_in(page, "thea")
    page.goto(f"/patients/{ada.pk}/")
    Session.objects.all().delete()
    page.clock.fast_forward("01:30")
    page.locator("h1").click()
    page.wait_for_url(f"**/log-in/?next=/patients/{ada.pk}/")
    assert "Quill" not in page.content()


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_the_lock_page_fits_a_phone(open_page: OpenPage, ada: Patient, dark: bool) -> None:
    page = open_page(viewport=PHONE, dark=dark)
    log_in(page, "thea")
    lock(page)
    unlock(page, "wrong")
    expect(page.get_by_role("alert")).to_contain_text("That is not your password.")
    assert axe_faults(page) == []
    assert sideways(page) == 0
