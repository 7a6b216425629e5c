"""The four answers on the smallest phone, with JavaScript and without, in English and in Arabic."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from playwright.sync_api import Locator, Page, expect

from clinic.models import Clinic, OpeningHours
from clinic.rules.tongue import Tongue, tongue_of
from reminders.models import CallItem
from reminders.services.links import link_token, links_keep
from taping.models import Application, SkinReport
from taping.rules.report_signs import SIGNS
from tests.browser.conftest import OLD_PHONE, OpenPage, axe_faults, log_in, sideways
from tests.factories import ApplicationFactory, PatientFactory, StripFactory, UserFactory

ON_THE_REMOVAL_DAY = datetime(2027, 3, 15, 14, tzinfo=UTC)
"""Monday, 10:00 in New York: tape that went on on Wednesday comes off."""


@dataclass
class Phone:
    """A patient's telephone on the page of their tape; finger: their language."""

    page: Page
    tongue: Tongue
    script: bool
    address: str
    seen: Callable[[Page], None]

    def open(self) -> None:
        self.page.goto(self.address)
        self.look()

    def press(self, words: str) -> None:
        self.button(words).tap()
        self.page.wait_for_load_state("load")
        self.look()

    def button(self, words: str) -> Locator:
        return self.page.get_by_role("button", name=self.tongue.say(words), exact=True)

    def says(self, words: str, **values: str) -> None:
        expect(self.page.get_by_text(self.tongue.say(words, **values)).first).to_be_visible()

    def look(self) -> None:
        """Right language and direction, no wider than the screen, no button too small, nothing axe finds."""
        html = self.page.locator("html")
        expect(html).to_have_attribute("lang", self.tongue.key)
        expect(html).to_have_attribute("dir", self.tongue.direction)
        for box in (one.bounding_box() for one in self.page.locator("button:visible, label.sign:visible").all()):
            assert box is not None
            assert box["height"] >= 48
            assert box["x"] >= 0
            assert box["x"] + box["width"] <= OLD_PHONE["width"]
        if not self.script:  # only a page with JavaScript can be measured from outside
            return
        assert sideways(self.page) == 0
        for theme in ("light", "dark"):
            self.page.emulate_media(color_scheme=theme)
            assert axe_faults(self.page) == []
        self.page.emulate_media(color_scheme="light")
        self.seen(self.page)


@pytest.fixture
def seen() -> Callable[[Page], None]:
    """Takes each page that was looked at; nothing by default."""
    return lambda page: None


@pytest.fixture
def clock() -> Iterator[time_machine.Traveller]:
    with time_machine.travel(ON_THE_REMOVAL_DAY, tick=True) as traveller:
        yield traveller


@pytest.fixture
def tape(clock: time_machine.Traveller, transactional_db: None) -> Application:
    clinic = Clinic(
        name="Harbour Lane Clinic", telephone="(212) 555-0100", emergency_number="911",
        out_of_hours_advice="(212) 555-0101", languages={"ar": {"name": "Nur Halloran", "on": "2027-03-01"}},
    )  # fmt: skip
    clinic.save()
    for weekday in range(5):
        OpeningHours.objects.create(weekday=weekday, opens="08:00", closes="18:00")
    patient = PatientFactory(full_name="Ada Quillfeather", call_me="Ada")
    made: Application = ApplicationFactory(patient=patient, applied_at=ON_THE_REMOVAL_DAY - timedelta(days=5))
    StripFactory(plan=made.plan)
    links_keep(application=made, zone=clinic.zone)
    return made


@pytest.fixture(params=[(key, script) for key in ("en", "ar") for script in (True, False)],
                ids=["en-script", "en-plain", "ar-script", "ar-plain"])  # fmt: skip
def phone(
    request: pytest.FixtureRequest, tape: Application, open_page: OpenPage, seen: Callable[[Page], None]
) -> Phone:
    key, script = request.param
    type(tape.patient).objects.update(language=key)
    page = open_page(javascript=script, viewport=OLD_PHONE)
    held = Phone(page, tongue_of(key), script, f"/t/{link_token(tape)}/", seen)
    held.open()
    return held


def test_it_is_off_and_back_on_and_after_ten_minutes_it_stands(
    phone: Phone, tape: Application, clock: time_machine.Traveller
) -> None:
    phone.says("Take the tape off {off_when}.", off_when=phone.tongue.say("today"))
    phone.press("It is off")
    phone.says("Thank you. We noted that the tape is off.")
    tape.refresh_from_db()
    assert (tape.ended_how, tape.ended_by) == ("off", "patient")
    phone.press("Undo: the tape is still on")
    phone.says("Undone.")
    tape.refresh_from_db()
    assert tape.ended_at is None
    phone.press("It is off")
    clock.move_to(ON_THE_REMOVAL_DAY + timedelta(minutes=11))
    phone.press("Undo: the tape is still on")  # on a page that stood open for too long
    phone.says("This can no longer be undone here. Please call us.")
    expect(phone.button("Undo: the tape is still on")).to_have_count(0)
    tape.refresh_from_db()
    assert tape.ended_how == "off"


def test_it_came_off_early(phone: Phone, tape: Application) -> None:
    phone.press("It came off early")
    phone.says("Thank you. We noted that it came off early.")
    expect(phone.button("It is off")).to_have_count(0)
    tape.refresh_from_db()
    assert (tape.ended_how, tape.ended_by) == ("came_off", "patient")


def test_please_call_me_says_when_and_can_be_taken_back(phone: Phone) -> None:
    phone.press("Please call me")
    phone.says("Thank you. We call you.")
    phone.says("We are open now: somebody reads this today.")
    assert CallItem.objects.get(closed_at=None).reason == "call_back"
    phone.press("Undo: I need no call")
    phone.says("Undone.")
    assert not CallItem.objects.filter(closed_at=None).exists()


def test_my_skin_is_reacting_asks_with_pictures_answers_at_once_and_stands_first_on_the_call_list(
    phone: Phone, tape: Application, open_page: OpenPage
) -> None:
    phone.press("Please call me")
    phone.press("My skin is reacting")
    phone.says("What do you notice?")
    expect(phone.page.locator("label.sign svg")).to_have_count(len(SIGNS))
    drawn = [one.bounding_box() for one in phone.page.locator("label.sign svg").all()]
    assert all(box and box["width"] >= 40 and box["height"] >= 40 for box in drawn)
    phone.press("Send and show me what to do")
    phone.says("Tick what you notice, or write it in your own words below.")
    assert SkinReport.objects.count() == 0
    for words in ("It is hard to breathe", "It itches"):
        phone.page.get_by_label(phone.tongue.say(words), exact=True).check()
    phone.page.get_by_label(phone.tongue.say("In your own words")).fill("since this morning")
    phone.press("Send and show me what to do")
    phone.says("Do this now")
    first = phone.page.locator(".now ol.steps > li").first
    expect(first).to_contain_text(phone.tongue.say("Call the emergency number now."))
    expect(first.get_by_role("link")).to_have_attribute("href", "tel:911")
    report = SkinReport.objects.get()
    assert (report.signs, report.words, report.application) == (["breathing", "itching"], "since this morning", tape)
    _first_on_the_call_list(open_page)


def _first_on_the_call_list(open_page: OpenPage) -> None:
    UserFactory(desk=True, username="dora")
    desk = open_page()
    log_in(desk, "dora")
    calls = desk.locator(".calls > li")
    expect(calls).to_have_count(2)
    expect(calls.first).to_contain_text("since this morning")
    expect(calls.first).to_contain_text("urgent")
