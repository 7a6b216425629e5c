"""A manager changes what messages say in a real browser: live, without scripts on a phone, and by keyboard."""

import re
from collections.abc import Iterator

import pytest
import time_machine
from playwright.sync_api import Page, ViewportSize, expect

from clinic.models import Clinic, Event
from clinic.selectors import clinic_get
from taping.models import Application
from tests.browser.conftest import PHONE, TABLET, OpenPage, axe_faults, log_in, sideways
from tests.browser.keys import Keys
from tests.factories import ApplicationFactory, PatientFactory, UserFactory
from tests.factories.clinic import NOW

KEY = "exercise_ok.sms.set#1"
FIELD = "#id_exercise_ok-sms-set-1"
NEW = "{Tape} holds now ({place}). Move only as your therapist told you."
WIDE = "{Tape} has set ✓ ({place})."


@pytest.fixture(autouse=True)
def tape(transactional_db: None, clinic: Clinic) -> Iterator[Application]:
    with time_machine.travel(NOW):
        patient = PatientFactory(full_name="Ada Quillfeather", call_me="Ada")
        yield ApplicationFactory(patient=patient, screen__region="elbow", screen__side="right")


def opened(
    open_page: OpenPage, *, javascript: bool = True, viewport: ViewportSize = TABLET, dark: bool = False
) -> Page:
    """The page of one message, reached from the settings."""
    UserFactory(username="olga", manager=True)
    page = open_page(javascript=javascript, viewport=viewport, dark=dark)
    log_in(page, "olga")
    page.goto("/settings/")
    page.get_by_role("link", name="What messages say").click()
    page.get_by_role("link", name=re.compile("^English ?: the tape has set")).click()
    expect(page.get_by_role("heading", level=1)).to_have_text("The tape has set: what it says in English")
    return page


def read_and_save(page: Page) -> None:
    page.get_by_label("Name of the clinician who read the new words").fill("Nur Halloran")
    page.get_by_label("This clinician is licensed").check()
    page.get_by_role("button", name="Save these words").click()


def test_the_preview_follows_what_is_typed_and_the_words_are_kept(open_page: OpenPage) -> None:
    page = opened(open_page, dark=True)
    look = page.locator("#look")
    expect(look).to_contain_text("Your tape has set: left knee.")
    page.locator(FIELD).fill(WIDE)
    expect(look).to_contain_text("Outside the plain alphabet: ✓")
    page.locator(FIELD).fill("{Tape} has set for {surname}.")
    expect(look).to_contain_text("{surname} goes into no message: others may read it.")
    page.locator(FIELD).fill(NEW)
    expect(look).to_contain_text("Your tape holds now (left knee).")
    expect(look).to_contain_text("1 segment: ")
    assert (clinic_get().texts, axe_faults(page), sideways(page)) == ({}, [], 0)
    page.get_by_role("button", name="Save these words").click()
    expect(page.locator(".error-summary")).to_contain_text("Write the name of the clinician who read the new words.")
    assert (axe_faults(page), sideways(page)) == ([], 0)
    read_and_save(page)
    expect(page.locator(".page-messages")).to_contain_text("The words are saved.")
    assert clinic_get().texts == {"en": {KEY: NEW}}


def test_on_a_phone_without_scripts_nothing_typed_is_lost_on_any_way(open_page: OpenPage, tape: Application) -> None:
    page = opened(open_page, javascript=False, viewport=PHONE)
    page.locator(FIELD).fill(NEW)
    page.get_by_label("A patient of yours, by name").fill("quill")
    page.get_by_role("button", name="Find").click()
    page.get_by_role("button", name="Ada Quillfeather").click()
    expect(page.get_by_role("heading", name="As Ada Quillfeather would get it now")).to_be_visible()
    expect(page.locator("#look")).to_contain_text("Your tape holds now (right elbow).")
    assert Event.objects.filter(verb="patient.read", patient=tape.patient_id).count() == 1
    page.get_by_role("button", name="Save these words").click()
    expect(page.locator(".error-summary")).to_contain_text("Write the name of the clinician who read the new words.")
    assert (sideways(page), clinic_get().texts) == (0, {})
    expect(page.locator(FIELD)).to_have_value(NEW)
    read_and_save(page)
    expect(page.locator(".page-messages")).to_contain_text("The words are saved.")
    page.get_by_role("button", name=re.compile("^Back to the program's own words ?: 1 ")).click()
    expect(page.locator(FIELD)).to_have_value("{Tape} has set: {place}. Move only as your therapist told you.")
    assert (sideways(page), clinic_get().texts) == (0, {"en": {KEY: NEW}})
    page.get_by_role("button", name="Save these words").click()
    expect(page.locator(".page-messages")).to_contain_text("The words are saved.")
    assert clinic_get().texts == {"en": {}}


def test_two_managers_by_keyboard(open_page: OpenPage) -> None:
    page = opened(open_page)
    other = page.context.new_page()
    other.goto(page.url)
    other.locator(FIELD).fill("{Tape} is set ({place}).")
    read_and_save(other)
    expect(other.locator(".page-messages")).to_contain_text("The words are saved.")
    keys = Keys(page)
    keys.round_trip()
    page.locator(FIELD).fill(NEW)
    read_and_save(page)
    told = page.get_by_role("alert")
    expect(told).to_be_focused()
    expect(told).to_contain_text("Nothing of yours was saved yet")
    table = page.get_by_role("table")
    expect(table).to_contain_text("{Tape} is set ({place}).")
    expect(table).to_contain_text(NEW)
    expect(page.locator(FIELD)).to_have_value("{Tape} is set ({place}).")
    assert (axe_faults(page), sideways(page), keys.faults) == ([], 0, [])
