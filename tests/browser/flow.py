"""The job at the tablet, step by step, for whatever does the touching: a finger or the keyboard."""

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Protocol

from playwright.sync_api import Locator, Page, expect

from clinic.models import Patient, User
from taping.models import Application
from taping.rules.removal import REMOVAL_QUESTIONS, removal_answers_from
from taping.rules.skin import QUESTIONS, Answer
from tests.browser.conftest import log_in
from tests.factories import (
    ApplicationFactory,
    PatientFactory,
    ScreenFactory,
    StripFactory,
    StripPlanFactory,
    UserFactory,
    VisitFactory,
)
from tests.factories.clinic import NOW
from tests.taping.screening import answers

Look = Callable[[str], None]
"""Called with the name of each page while it stands on the screen."""
CLEAR = {question.key: Answer.NO for question in QUESTIONS}
SAID_BY_SCREEN = {key for key, answer in removal_answers_from(CLEAR).items() if answer is not None}
ASKED_AT_HAND_OVER = [question.key for question in REMOVAL_QUESTIONS if question.key not in SAID_BY_SCREEN]


class Hand(Protocol):
    """Whatever touches the page."""

    page: Page

    def press(self, control: Locator) -> None: ...
    def answer(self, control: Locator) -> None: ...
    def write(self, field: Locator, text: str) -> None: ...


class Finger:
    """One finger on the glass."""

    def __init__(self, page: Page) -> None:
        self.page = page

    def press(self, control: Locator) -> None:
        control.tap()

    answer = press

    def write(self, field: Locator, text: str) -> None:
        field.tap()
        field.fill(text)


def unseen(name: str) -> None:
    """Looks at nothing."""


def visitor_today(therapist: User) -> Patient:
    """Ada Quill, who has come for her visit of this hour and agreed to messages."""
    patient: Patient = PatientFactory(full_name="Ada Quill")
    VisitFactory(patient=patient, therapist=therapist, starts_at=NOW, ends_at=NOW + timedelta(hours=1), state="arrived")
    return patient


def therapist_at_work(username: str = "thea") -> User:
    made: User = UserFactory(username=username, full_name="Thea Pist")
    return made


def taped_before(patient: Patient) -> Application:
    """Tape on the left knee nine days ago, to ease pain, off since four days."""
    begun = NOW - timedelta(days=9)
    screen = ScreenFactory(patient=patient, made_at=begun, answers=answers())
    plan = StripPlanFactory(screen=screen)
    # 1.1 x (100 + 200 / 1.04) = 321.5 mm of paper make a tenth of what an unmeasured tape gives.
    StripFactory(plan=plan, position=1, share=0.1, stretch=0.04, paper_mm=1.1 * (100 + 200 / 1.04))
    made: Application = ApplicationFactory(
        plan=plan, patient=patient, applied_at=begun, ended_at=NOW - timedelta(days=4), ended_how="off"
    )
    return made


def work_begins(page: Page) -> None:
    """Logged in, Today stands on the screen."""
    log_in(page, "thea")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Today")


def begin(hand: Hand) -> None:
    """From Today to the question where the tape is to go."""
    hand.press(hand.page.get_by_role("link", name=re.compile("^Tape this patient(: Ada Quill)?$")).first)
    expect(hand.page.get_by_role("heading", level=1)).to_have_text("Where is the tape to go?")


def place_as_last_time(hand: Hand) -> None:
    hand.press(hand.page.get_by_role("link", name="Left knee, to ease a sore spot"))
    expect(hand.page.get_by_role("heading", level=1)).to_have_text("Skin screen: left knee")


def place_new(hand: Hand) -> None:
    hand.press(hand.page.get_by_role("link", name="left knee (left)"))
    expect(hand.page.get_by_role("heading", level=1)).to_have_text("Skin screen: left knee")


def goal(hand: Hand) -> None:
    hand.answer(hand.page.locator("[name=goal][value=ease_pain]"))


def skin_answers(hand: Hand, *, in_one: bool = False) -> None:
    """No to every question; in_one: to the cautions by the one button for them. None is answered beforehand."""
    page = hand.page
    assert page.locator(".questions input:checked").count() == 0
    assert page.locator(".questions fieldset").count() == len(QUESTIONS)
    for question in QUESTIONS:
        if not (in_one and question.weight == "caution"):
            hand.answer(page.locator(f"[name={question.key}][value=no]"))
    if in_one:
        hand.press(page.get_by_role("button", name="None of these"))
        expect(page.get_by_text("Every open caution is answered with no.")).to_be_visible()


def record(hand: Hand) -> None:
    hand.press(hand.page.get_by_role("button", name="Record the screen"))
    expect(hand.page).to_have_url(re.compile(r"/screens/\d+/"))
    expect(hand.page.get_by_text("Nothing found in the answers; the therapist decides.").first).to_be_visible()


def plan_as_last_time(hand: Hand) -> None:
    hand.press(hand.page.get_by_role("button", name="Use this plan"))
    expect(hand.page.get_by_role("heading", name="Strips of this plan")).to_be_visible()


def plan_new(hand: Hand) -> None:
    hand.press(hand.page.get_by_role("button", name="Plan the strips"))
    expect(hand.page.get_by_role("heading", level=1)).to_have_text("Strips: left knee")


def first_strip(hand: Hand) -> None:
    hand.write(hand.page.locator("#id_span"), "30")
    hand.press(hand.page.get_by_role("button", name="Add this strip"))
    expect(hand.page.get_by_role("heading", name="Strips of this plan")).to_be_visible()


def second_strip(hand: Hand) -> None:
    hand.press(hand.page.locator("summary", has_text="Another strip"))
    hand.write(hand.page.locator("#id_span"), "25")
    hand.press(hand.page.get_by_role("button", name="Add this strip"))
    expect(hand.page.locator(".strip-list > li")).to_have_count(2)


def lay(hand: Hand) -> None:
    hand.press(hand.page.get_by_role("button", name="It is on the skin now"))
    expect(hand.page.get_by_role("heading", name="Tell the patient")).to_be_visible()


def who_takes_it_off(hand: Hand) -> None:
    """The patient, at home: nothing stands against it."""
    page = hand.page
    hand.answer(page.locator("[name=removal][value=home]"))
    for key in ASKED_AT_HAND_OVER:
        hand.answer(page.locator(f".hand-form [name={key}][value=no]"))


def settle(hand: Hand) -> None:
    """Who takes it off goes on record, so that the first message goes while the patient is still here."""
    hand.press(hand.page.get_by_role("button", name="Record who takes it off"))
    expect(hand.page.get_by_role("button", name="Record who takes it off")).to_have_count(0)


def finish(hand: Hand) -> None:
    hand.press(hand.page.locator("[name=said_back]"))
    hand.press(hand.page.get_by_role("button", name="Finish"))
    expect(hand.page.get_by_role("heading", level=1)).to_contain_text("Today")


def as_last_time(hand: Hand, look: Look = unseen, *, in_one: bool = False, straight: bool = False) -> None:
    """The whole job for a patient who was taped there before; straight: on to the end without a look at the message."""
    begin(hand)
    look("place")
    place_as_last_time(hand)
    look("screen")
    skin_answers(hand, in_one=in_one)
    look("answered")
    record(hand)
    look("verdict")
    plan_as_last_time(hand)
    look("laying")
    lay(hand)
    look("handing over")
    who_takes_it_off(hand)
    if not straight:
        settle(hand)
        look("settled")
    finish(hand)
    look("today")


def somewhere_new(hand: Hand, look: Look = unseen, *, in_one: bool = False, strips: int = 1) -> None:
    """The whole job for a place that never bore tape; with two strips there are two numbers."""
    begin(hand)
    look("place")
    place_new(hand)
    look("screen")
    goal(hand)
    skin_answers(hand, in_one=in_one)
    look("answered")
    record(hand)
    look("verdict")
    plan_new(hand)
    look("plan")
    first_strip(hand)
    look("laying")
    if strips > 1:
        second_strip(hand)
        look("two strips")
    lay(hand)
    look("handing over")
    who_takes_it_off(hand)
    settle(hand)
    look("settled")
    finish(hand)
    look("today")


def all_on_record(patient: Patient) -> None:
    """The tape is on, screened by itself and handed over, with everything that was asked."""
    tape = Application.objects.get(patient=patient, ended_at=None)
    assert tape.plan.screen.answers == {question.key: "no" for question in QUESTIONS}
    assert (tape.region, tape.side, tape.plan.goal, tape.removal) == ("knee", "left", "ease_pain", "home")
    assert (tape.said_back, tape.remover_open, tape.handed_over_at is not None) == (True, False, True)
