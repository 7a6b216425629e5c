"""The skin screen on a tablet with poor Wi-Fi: each answer is saved; what is not is said and can be sent again."""

import re
from collections.abc import Callable, Iterator

import pytest
import time_machine
from playwright.sync_api import Page, Route, ViewportSize, expect

from clinic.models import Clinic
from taping.models import ScreenDraft
from tests.browser.conftest import PHONE, TABLET, OpenPage, axe_faults, log_in, sideways
from tests.factories import PatientFactory, UserFactory
from tests.factories.clinic import NOW

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def page(open_page: OpenPage, clinic: Clinic) -> Iterator[Page]:
    UserFactory(username="thea")
    made = open_page(javascript=True, viewport=TABLET)
    with time_machine.travel(NOW):
        log_in(made, "thea")
        yield made


def opened(page: Page) -> None:
    patient = PatientFactory()
    page.goto(
        f"{page.url.split('/', 3)[0]}//{page.url.split('/')[2]}/patients/{patient.pk}/screen/?region=knee&side=left"
    )


def answer(page: Page, name: str, value: str = "no") -> None:
    page.locator(f"[name={name}][value={value}]").check()


def test_each_answer_is_saved_and_stands_there_after_a_reload(page: Page) -> None:
    opened(page)
    answer(page, "rash")
    expect(page.locator("#verdict")).to_contain_text("saved 10:0")
    answer(page, "sensor", "yes")
    page.locator("[name=note]").fill("seen in daylight")
    expect(page.locator("#draft-keys [name=version]")).to_have_value("3")
    page.reload()
    expect(page.locator("[name=rash][value=no]")).to_be_checked()
    expect(page.locator("[name=sensor][value=yes]")).to_be_checked()
    expect(page.locator("[name=note]")).to_have_value("seen in daylight")


def _status(code: int) -> Callable[[Route], None]:
    return lambda route: route.fulfill(status=code, body="<html><body><h1>Somebody else's page</h1></body></html>")


@pytest.mark.parametrize(
    "fault", [_status(500), _status(422), _status(403), lambda route: route.abort(), lambda _: None]
)
def test_answer_that_was_not_saved_is_said_kept_and_sent_again(page: Page, fault: Callable[[Route], None]) -> None:
    opened(page)
    page.route("**/screen/**", fault)
    answer(page, "rash")
    expect(page.locator("#not-saved")).to_be_visible(timeout=4000)
    assert page.locator("#not-saved").get_attribute("role") == "alert"
    assert "Somebody else" not in page.locator("main").inner_text()
    expect(page.locator("[name=rash][value=no]")).to_be_checked()
    page.unroute("**/screen/**")
    page.get_by_role("button", name="Save again").click()
    expect(page.locator("#not-saved")).to_be_hidden()
    expect(page.locator("#verdict")).to_contain_text("saved 10:0")
    assert ScreenDraft.objects.get().answers == {"rash": "no"}


def test_second_tablet_is_refused_within_the_page_and_brings_both_together(page: Page) -> None:
    opened(page)
    answer(page, "rash")
    expect(page.locator("#verdict")).to_contain_text("saved")
    other = page.context.new_page()
    other.goto(page.url)
    answer(other, "sensor", "yes")
    expect(other.locator("#verdict")).to_contain_text("saved")
    answer(page, "rash", "yes")
    expect(page.locator("#save-state")).to_contain_text("Not saved:")
    page.get_by_role("button", name="Bring both together").click()
    expect(page.get_by_text("You answered differently. Answer these again:")).to_be_visible()
    expect(page.locator("[name=sensor][value=yes]")).to_be_checked()
    assert page.locator("[name=rash]:checked").count() == 0


@pytest.mark.parametrize("viewport", [TABLET, PHONE], ids=["820", "360"])
def test_empty_screen_is_counted_and_each_question_is_a_link_away(page: Page, viewport: ViewportSize) -> None:
    page.set_viewport_size(viewport)
    opened(page)
    page.get_by_role("button", name="Record the screen").click()
    summary = page.locator(".error-summary")
    expect(summary.get_by_role("link", name=re.compile(r"\d not answered yet$"))).to_have_count(5)
    box = summary.bounding_box()
    assert box is not None
    assert box["height"] < viewport["height"]
    assert (axe_faults(page), sideways(page)) == ([], 0)
    fold = summary.locator("details")
    fold.locator("summary").click()
    fold.get_by_role("link", name="Is there a rash here?").click()
    expect(page.locator("[name=rash]").first).to_be_in_viewport()
    expect(page.locator("#id_rash legend")).to_be_in_viewport()
    answer(page, "rash")
    expect(page.locator("#verdict")).to_contain_text("56 questions open")


def test_places_of_the_figure_are_large_enough_to_touch(page: Page) -> None:
    opened(page)
    page.goto(page.url.partition("?")[0])
    boxes = [area.bounding_box() for area in page.locator(".figure-area").all()]
    assert min(min(box["width"], box["height"]) for box in boxes if box) >= 48
    page.set_viewport_size(PHONE)
    assert sideways(page) == 0
