"""The whole job in a real browser, with JavaScript and without: from an unknown patient to "it is off"."""

import re
from datetime import timedelta
from pathlib import Path

import pytest
import time_machine
from django.utils import timezone
from playwright.sync_api import Page, ViewportSize, expect
from pytest_django import Settings

from clinic.models import Clinic, Patient
from reminders.models import Message
from reminders.services.running import run_due
from taping.models import Application
from tests.browser.conftest import PHONE, TABLET, OpenPage, log_in, sideways
from tests.browser.flow import (
    Finger,
    begin,
    finish,
    first_strip,
    goal,
    lay,
    place_new,
    plan_new,
    record,
    settle,
    skin_answers,
    who_takes_it_off,
)
from tests.factories import UserFactory
from tests.factories.clinic import NOW

PERSON = {"full_name": "Ada Quill", "call_me": "Ada", "born": "1985-04-03", "phone": "(212) 555-0123"}


def _add_patient(page: Page) -> None:
    page.get_by_role("link", name="Patients").click()
    page.get_by_role("link", name="Add a patient").click()
    for name, value in PERSON.items():
        page.locator(f"[name={name}]").fill(value)
    page.locator("[name=prefers][value=sms]").check()
    page.locator("[name=consents][value=yes]").check()
    page.get_by_role("button", name="Add the patient").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Ada Quill")


def _plan(hand: Finger) -> None:
    plan_new(hand)
    hand.write(hand.page.locator("#id_span"), "30")
    hand.press(hand.page.get_by_role("button", name="Show the cut"))
    expect(hand.page.locator("main svg[role=img]").first).to_be_visible()
    # 10 % of 0.40 is a stretch of 0.04: 1.10 × (5 + 5 + 20 / 1.04) cm of paper
    expect(hand.page.get_by_text("32.2 cm").first).to_be_visible()
    first_strip(hand)


@pytest.mark.parametrize("viewport", [TABLET, PHONE], ids=["820", "360"])
@pytest.mark.parametrize("javascript", [True, False], ids=["with JavaScript", "without JavaScript"])
def test_from_a_stranger_to_it_is_off(
    open_page: OpenPage, clinic: Clinic, settings: Settings, tmp_path: Path, javascript: bool, viewport: ViewportSize
) -> None:
    settings.OUTBOX_FOLDER = tmp_path
    UserFactory(username="thea")
    page = open_page(javascript=javascript, viewport=viewport)
    with time_machine.travel(NOW):
        log_in(page, "thea")
        _add_patient(page)
        hand = Finger(page)
        begin(hand)
        place_new(hand)
        goal(hand)
        skin_answers(hand)
        record(hand)
        _plan(hand)
        lay(hand)
        who_takes_it_off(hand)
        settle(hand)
        application = Application.objects.get()
        run_due(timezone.now)
        page.reload()
        _handing_over_shows_it_all(page, application)
        finish(hand)
        [sent] = tmp_path.iterdir()
        link = re.search(r"/t/[\w-]+/", sent.read_text()).group()  # type: ignore[union-attr]
        _patient_says_it_is_off(open_page(javascript=javascript, viewport=PHONE), link)
        run_due(timezone.now)
    _nothing_more_to_come(application)


def _handing_over_shows_it_all(page: Page, application: Application) -> None:
    """End of the wait, window, removal day, and each message with its time and reason."""
    text = page.locator("main").inner_text()
    assert "10:20" in text
    assert "11:00" in text
    for message in Message.objects.filter(application=application):
        for reason in message.reasons:
            assert reason in text
    assert Message.objects.filter(application=application, kind="aftercare", state="sent").count() == 1
    assert sideways(page) == 0


def _patient_says_it_is_off(page: Page, link: str) -> None:
    page.goto(link)
    assert "Quill" not in page.content()
    page.get_by_role("button", name="It is off").click()
    expect(page.locator("main")).to_contain_text(re.compile("off", re.IGNORECASE))


def _nothing_more_to_come(application: Application) -> None:
    application.refresh_from_db()
    assert application.ended_at is not None
    assert (NOW < application.ended_at < NOW + timedelta(minutes=5), application.ended_how) == (True, "off")
    to_come = Message.objects.filter(application=application, state="planned")
    assert list(to_come.values_list("kind", flat=True)) == ["skin_follow_up"]
    dropped = Message.objects.filter(application=application, state="dropped")
    assert dropped.count() >= 3
    assert set(dropped.values_list("why", flat=True)) == {"the tape is off"}
    assert Patient.objects.get().full_name == "Ada Quill"
