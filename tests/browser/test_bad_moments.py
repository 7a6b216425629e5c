"""What happens to a form at a bad moment: tapped twice, no answer, no storage, log-in gone, back pressed."""

import re
from collections.abc import Callable, Iterator

import pytest
import time_machine
from django.contrib.sessions.models import Session
from django.utils import timezone
from playwright.sync_api import Page, Route, expect

from clinic.models import Clinic, Patient
from reminders.models import Message
from reminders.services.running import run_due
from taping.models import Application, StripPlan
from tests.browser.conftest import OpenPage, log_in
from tests.browser.flow import therapist_at_work, visitor_today
from tests.factories import ApplicationFactory, ScreenFactory, StripFactory, StripPlanFactory
from tests.factories.clinic import NOW, PASSWORD

STORAGES = "[window.localStorage.length, window.sessionStorage.length]"
NO_STORAGE = "Storage.prototype.setItem = () => { throw new DOMException('full', 'QuotaExceededError'); }"
NO_ANSWER = "No answer from the program"


@pytest.fixture
def ada(transactional_db: None, clinic: Clinic) -> Iterator[Patient]:
    with time_machine.travel(NOW):
        yield visitor_today(therapist_at_work())


def _plan(patient: Patient, region: str) -> StripPlan:
    plan: StripPlan = StripPlanFactory(screen=ScreenFactory(patient=patient, region=region))
    StripFactory(plan=plan, position=1)
    return plan


def _tap_twice(page: Page, words: str) -> None:
    """Faster than any answer: the second tap comes while the first is under way."""
    page.get_by_role("button", name=words).evaluate("one => { one.click(); one.click(); }")


def test_two_taps_and_back_make_one_tape_and_one_first_message(open_page: OpenPage, ada: Patient) -> None:
    page = open_page()
    log_in(page, "thea")
    for region in ("knee", "calf"):
        page.goto(f"/plans/{_plan(ada, region).pk}/")
        _tap_twice(page, "It is on the skin now")
        expect(page.get_by_role("heading", name="Tell the patient")).to_be_visible()
        tape = Application.objects.get(region=region)
        page.go_back()
        # There is no form to send again: a plan that is on the skin leads to its tape.
        page.wait_for_url(f"**/applications/{tape.pk}/")
        expect(page.get_by_role("heading", level=1)).to_contain_text(f"Left {region}: Ada Quill")
    # Two tapes that are really two stay two.
    assert Application.objects.count() == 2
    run_due(timezone.now)
    assert Message.objects.filter(kind="aftercare").count() == 2


def _status(code: int) -> Callable[[Route], None]:
    return lambda route: route.fulfill(status=code, body="<html><body><h1>Somebody else's page</h1></body></html>")


FAULTS = [_status(500), _status(422), _status(403), lambda route: route.abort(), lambda _: None]
NAMES = ["500", "422", "403", "no line", "silence"]


@pytest.mark.parametrize("fault", FAULTS, ids=NAMES)
def test_cut_that_did_not_come_is_said_and_the_span_stays(
    open_page: OpenPage, ada: Patient, fault: Callable[[Route], None]
) -> None:
    page = open_page()
    log_in(page, "thea")
    page.goto(f"/plans/{StripPlanFactory(screen=ScreenFactory(patient=ada)).pk}/")
    page.route("**/cut/", fault)
    page.locator("#id_span").fill("30")
    line = page.get_by_role("status").filter(has_text=NO_ANSWER)
    expect(line).to_be_visible(timeout=4000)
    expect(page.locator("main")).not_to_contain_text("Somebody else")
    expect(page.locator("#id_span")).to_have_value("30")
    page.unroute("**/cut/")
    page.locator("#id_span").fill("31")
    expect(page.locator("#cut-line")).to_contain_text("33.2 cm")
    expect(line).to_have_count(0)


@pytest.mark.parametrize("fault", [FAULTS[0], FAULTS[-1]], ids=[NAMES[0], NAMES[-1]])
def test_answer_about_who_takes_it_off_stays_where_nobody_judged_it(
    open_page: OpenPage, ada: Patient, fault: Callable[[Route], None]
) -> None:
    tape = ApplicationFactory(plan=_plan(ada, "knee"), patient=ada, remover_open=True)
    page = open_page()
    log_in(page, "thea")
    page.goto(f"/applications/{tape.pk}/")
    page.locator(".hand-form [name=removal][value=home]").check()
    page.route("**/reasons/", fault)
    answer = page.locator(".hand-form .only-home input[value=yes]").first
    answer.check()
    expect(page.get_by_role("status").filter(has_text=NO_ANSWER)).to_be_visible(timeout=4000)
    expect(answer).to_be_checked()
    expect(page.locator("main")).not_to_contain_text("Somebody else")


def _answer(page: Page, name: str) -> None:
    page.locator(f"[name={name}][value=no]").check()


def _saved(page: Page) -> None:
    expect(page.locator("#verdict")).to_contain_text("saved 10:0")


def test_draft_needs_no_storage_of_the_tablet_and_leaves_nothing_there(open_page: OpenPage, ada: Patient) -> None:
    therapist_at_work("theo")
    page = open_page()
    page.add_init_script(NO_STORAGE)
    log_in(page, "thea")
    address = f"/patients/{ada.pk}/screen/?region=knee&side=left"
    page.goto(address)
    _answer(page, "rash")
    _saved(page)
    assert page.evaluate(STORAGES) == [0, 0]
    page.evaluate("localStorage.clear(); sessionStorage.clear()")
    _answer(page, "diabetes")
    expect(page.locator("#draft-keys [name=version]")).to_have_value("2")
    page.get_by_role("button", name="Log out").click()
    page.wait_for_url("**/log-in/")
    log_in(page, "theo")
    assert page.evaluate(STORAGES) == [0, 0]
    # The same place tells who began it; another place, and another patient's, begin empty.
    page.goto(address)
    expect(page.locator("main")).to_contain_text("Thea Pist")
    page.goto(f"/patients/{ada.pk}/screen/?region=calf&side=left")
    assert page.locator(".questions input:checked").count() == 0


def test_log_in_that_ran_out_comes_back_to_the_same_step_with_the_draft(open_page: OpenPage, ada: Patient) -> None:
    page = open_page()
    log_in(page, "thea")
    page.goto(f"/patients/{ada.pk}/screen/?region=knee&side=left")
    _answer(page, "rash")
    _saved(page)
    Session.objects.all().delete()
    _answer(page, "diabetes")
    page.wait_for_url("**/log-in/**")
    assert (page.locator("form").count(), "Quill" in page.content()) == (1, False)
    page.get_by_label("Log-in name").fill("thea")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Log in").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Skin screen: left knee")
    expect(page.locator("[name=rash][value=no]")).to_be_checked()


@pytest.mark.parametrize("javascript", [True, False], ids=["with JavaScript", "without"])
def test_back_shows_the_whole_list_again(open_page: OpenPage, ada: Patient, javascript: bool) -> None:
    page = open_page(javascript=javascript)
    log_in(page, "thea")
    page.goto("/patients/")
    page.get_by_label("Find a patient").fill("quill")
    page.get_by_role("button", name="Find").click()
    page.wait_for_url(re.compile(r"\?q=quill"))
    page.get_by_role("link", name="Ada Quill").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Ada Quill")
    page.go_back()
    page.wait_for_url(re.compile(r"\?q=quill"))
    expect(page.get_by_role("heading", name="Matching “quill”")).to_be_visible()
    expect(page.get_by_role("navigation", name="Pages")).to_be_visible()
    expect(page.get_by_label("Find a patient")).to_have_value("quill")
    if javascript:
        assert page.evaluate("document.styleSheets.length") >= 2
