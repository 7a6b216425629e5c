"""A clinic set up from nothing in a browser, by its manager, up to the first message that arrives."""

import os
import re
from io import StringIO
from pathlib import Path

import pytest
import time_machine
from django.core.management import call_command
from django.utils import timezone
from playwright.sync_api import Page, expect
from pytest_django import Settings

from clinic.models import User
from clinic.services.second_factor import factor_begin
from reminders.models import Message
from reminders.services.running import run_due
from tests.browser import flow
from tests.browser.conftest import OpenPage, axe_faults, log_in, sideways
from tests.clinic.factor import code_at
from tests.factories.clinic import NOW, PASSWORD

OWN = "kettle spoon garden"


@pytest.fixture(autouse=True)
def _as_in_earnest(settings: Settings, tmp_path: Path) -> None:
    settings.MANAGERS_NEED_CODE, settings.OUTBOX_FOLDER = True, tmp_path / "outbox"


def test_from_an_empty_database_to_the_first_message(open_page: OpenPage, tmp_path: Path) -> None:
    with time_machine.travel(NOW):
        _first_manager()
        page = open_page()
        log_in(page, "mira")
        _second_factor(page)
        _settings(page)
        _staff(page)
        _fine(page)
        _tape_somebody(flow.Finger(page))
        run_due(timezone.now)
    [sent] = (tmp_path / "outbox").iterdir()
    assert "Harbour Lane Clinic" in sent.read_text()
    assert Message.objects.get(kind="aftercare").state == "sent"


def _first_manager() -> None:
    os.environ["STAFF_PASSWORD"] = PASSWORD
    try:
        words = ("--username", "mira", "--full-name", "Mira Holm", "--roles", "manager,therapist")
        call_command("staff_add", *words, stdout=StringIO())
    finally:
        del os.environ["STAFF_PASSWORD"]


def _fine(page: Page) -> None:
    assert (axe_faults(page), sideways(page)) == ([], 0)


def _second_factor(page: Page) -> None:
    """Nothing else opens before; the key stands on the page in letters, too."""
    expect(page.get_by_role("heading", level=1)).to_have_text("Set up a second factor")
    _fine(page)
    device = factor_begin(user=User.objects.get())
    page.get_by_label("Code").fill(code_at(device, timezone.now()))
    page.get_by_role("button", name="Set it up").click()
    expect(page.locator("main li code")).to_have_count(10)
    _fine(page)
    page.get_by_role("link", name="I have them: go to Today").click()


def _settings(page: Page) -> None:
    """From Today's notice by the list of steps to the form, and to the hours."""
    page.get_by_role("link", name="Set them").click()
    expect(page.get_by_text(re.compile("5 of 6 required settings are missing"))).to_be_visible()
    _fine(page)
    page.get_by_role("link", name=re.compile("Set.*The clinic's name")).click()
    values = {
        "Name of the clinic": "Harbour Lane Clinic", "Telephone that patients call": "(212) 555-0100",
        "Emergency number": "911",
    }  # fmt: skip
    for label, value in values.items():
        page.get_by_label(label).fill(value)
    page.locator("[name=out_of_hours_advice]").fill("Outside opening hours call (212) 555-0101.")
    page.get_by_role("button", name="Show what this changes").click()
    page.get_by_role("button", name="Save these settings").click()
    expect(page.get_by_text("The settings are saved.")).to_be_visible()
    for weekday in range(5):
        page.locator(f"[name=day{weekday}]").fill("08:00-18:00")
    page.get_by_role("button", name="Save the opening hours").click()
    expect(page.get_by_text("The opening hours are saved.")).to_be_visible()
    page.get_by_role("link", name="Setting up: what is done").click()
    expect(page.get_by_text("Everything required is set.")).to_be_visible()


def _staff(page: Page) -> None:
    """Somebody for the desk, who chooses a password of her own at the first log-in."""
    page.get_by_role("link", name="Settings").click()
    page.get_by_role("link", name="Staff and their log-ins").click()
    page.get_by_role("link", name="Add somebody").click()
    page.get_by_label("Full name").fill("Dana Pennywhistle")
    page.get_by_label("Log-in name").fill("dana")
    page.get_by_label(re.compile("^Front desk")).check()
    page.get_by_role("button", name="Add this person").click()
    first = page.locator("main code").inner_text()
    _fine(page)
    desk = page.context.browser
    assert desk is not None
    hers = desk.new_context(base_url=page.url.partition("/settings")[0]).new_page()
    hers.goto("/log-in/")
    hers.get_by_label("Log-in name").fill("dana")
    hers.get_by_label("Password").fill(first)
    hers.get_by_role("button", name="Log in").click()
    expect(hers.get_by_role("heading", level=1)).to_have_text("Choose your own password first")
    hers.get_by_label("Password until now").fill(first)
    hers.get_by_label("New password", exact=True).fill(OWN)
    hers.get_by_label("The new password again").fill(OWN)
    hers.get_by_role("button", name="Change the password").click()
    hers.goto("/")
    expect(hers.get_by_role("heading", level=1)).to_contain_text("Today")
    hers.context.close()


def _tape_somebody(hand: flow.Finger) -> None:
    page = hand.page
    page.goto("/patients/add/")
    for name, value in {"full_name": "Ada Quill", "call_me": "Ada", "born": "1985-04-03"}.items():
        page.locator(f"[name={name}]").fill(value)
    page.locator("[name=phone]").fill("(212) 555-0123")
    page.locator("[name=prefers][value=sms]").check()
    page.locator("[name=consents][value=yes]").check()
    page.get_by_role("button", name="Add the patient").click()
    page.get_by_role("link", name="Tape this patient").first.click()
    flow.place_new(hand)
    flow.goal(hand)
    flow.skin_answers(hand)
    flow.record(hand)
    flow.plan_new(hand)
    flow.first_strip(hand)
    flow.lay(hand)
    flow.who_takes_it_off(hand)
    flow.settle(hand)
