"""What the strip plan says is wrong follows what is typed: an error that was put right does not stay on the page."""

import re
from collections.abc import Iterator

import pytest
import time_machine
from playwright.sync_api import Locator, Page, expect

from clinic.models import Clinic
from taping.models import StripPlan
from tests.browser.conftest import PHONE, OpenPage, axe_faults, log_in, sideways
from tests.factories import StripPlanFactory, UserFactory
from tests.factories.clinic import NOW


@pytest.fixture
def page(open_page: OpenPage, clinic: Clinic) -> Iterator[Page]:
    """An empty plan of the left knee, on a telephone."""
    UserFactory(username="thea")
    plan: StripPlan = StripPlanFactory()
    with time_machine.travel(NOW):
        made = open_page(viewport=PHONE)
        log_in(made, "thea")
        made.goto(f"/plans/{plan.pk}/")
        yield made


def add(page: Page, **typed: str) -> None:
    for name, text in typed.items():
        page.locator(f"#id_{name}").fill(text)
    with page.expect_navigation(wait_until="load"):
        page.get_by_role("button", name="Add this strip").click()
    expect(page.get_by_role("heading", name="Nothing was saved. Please put this right:")).to_be_visible()
    assert page.title().startswith("Error: ")


def type_into(page: Page, name: str, text: str) -> None:
    with page.expect_response("**/cut/"):
        page.locator(f"#id_{name}").fill(text)


def is_calm(field: Locator) -> None:
    """No error stands beside the field, in no way."""
    expect(field).not_to_have_attribute("aria-invalid", "true")
    assert "error" not in (field.get_attribute("aria-describedby") or "")
    assert field.locator("xpath=ancestor::*[contains(@class, 'field-wrong')]").count() == 0


def keys_below_the_field(page: Page) -> float:
    """In pixels, both ends at the same instant: the page may be scrolling."""
    top = "document.querySelector('{}').getBoundingClientRect().top"
    return round(float(page.evaluate(f"{top.format('#keypad')} - {top.format('#id_span')}")), 1)


@pytest.mark.parametrize("wrong", ["0", "4 m", "twelve", ""])
def test_an_error_that_was_put_right_leaves_with_the_redraw(page: Page, wrong: str) -> None:
    add(page, span=wrong)
    field = page.locator("#id_span")
    expect(field).to_have_attribute("aria-invalid", "true")
    type_into(page, "span", "30")
    expect(page.locator("#cut-line")).to_contain_text("32.2 cm")
    expect(page.locator(".field-error:visible")).to_have_count(0)
    is_calm(field)
    expect(page.get_by_text("Put right. Nothing of it is saved yet.")).to_be_visible()
    expect(page.locator(".error-summary")).to_have_count(0)
    assert page.title() == "Strips, left knee · Wearwindow"
    assert (axe_faults(page), sideways(page)) == ([], 0)


def test_another_error_takes_the_place_of_the_first_and_the_keys_stay_where_they_are(page: Page) -> None:
    add(page, span="twelve")
    below = keys_below_the_field(page)
    type_into(page, "span", "3")
    words = re.compile("no stretch zone is left|anchors")
    expect(page.locator("#id_span_error")).to_contain_text(words)
    expect(page.locator(".error-summary a")).to_have_text(words)
    expect(page.locator("#id_span_error")).not_to_contain_text("twelve")
    type_into(page, "span", "30")
    expect(page.locator(".error-summary")).to_have_count(0)
    assert keys_below_the_field(page) == below


def test_only_what_was_put_right_leaves(page: Page) -> None:
    add(page, span="twelve", tension="fast")
    expect(page.locator(".error-summary a")).to_have_count(2)
    type_into(page, "span", "30")
    expect(page.locator(".error-summary a")).to_have_text(["Give the tension as a number from 0 to 100."])
    is_calm(page.locator("#id_span"))
    expect(page.locator("#id_tension")).to_have_attribute("aria-invalid", "true")
    assert page.title().startswith("Error: ")


def test_a_piece_that_cannot_be_laid_is_said_anew_for_each_span(page: Page) -> None:
    page.get_by_label("a piece I have already cut").check()
    add(page, span="30", paper="36")
    beside = page.locator("#id_paper_error")
    expect(beside).to_contain_text("Cut at most 33.0 cm for this span.")
    type_into(page, "span", "31")
    expect(beside).to_contain_text("Cut at most 34.1 cm for this span.")
    type_into(page, "span", "34")
    expect(page.locator(".field-error:visible")).to_have_count(0)


def test_nobody_is_told_off_while_typing(page: Page) -> None:
    type_into(page, "span", "3")
    expect(page.locator("#cut-line")).to_contain_text("No cut yet.")
    expect(page.locator(".field-error:visible")).to_have_count(0)
