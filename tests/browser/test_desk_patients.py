"""The desk registers a patient and reads a list of patients in a real browser."""

import re
from collections.abc import Iterator
from datetime import date

import pytest
import time_machine
from playwright.sync_api import Page, Route, ViewportSize, expect

from clinic.models import Clinic, Helper, Patient
from tests.browser.conftest import PHONE, WIDE, OpenPage, axe_faults, desk, sideways
from tests.factories import PatientFactory
from tests.factories.clinic import NOW

HEAD = "name,born,phone,email,external_id,note\n"
GOOD = HEAD + "Ana Reis,1985-03-04,(212) 555-0123,ana@example.org,A-1,\nBo Lund,1990-12-01,,bo@example.org,A-2,\n"
MIXED = GOOD + "Cy Ng,36585,4.474E+11,,A-3,\n"


@pytest.fixture(autouse=True)
def clock(transactional_db: None, clinic: Clinic) -> Iterator[time_machine.Traveller]:
    with time_machine.travel(NOW) as traveller:
        yield traveller


def write(page: Page, **typed: str) -> None:
    for name, value in typed.items():
        page.locator(f"[name={name}]").fill(value)


@pytest.mark.parametrize(
    ("viewport", "javascript"), [(WIDE, True), (PHONE, True), (PHONE, False)], ids=["1280", "360", "360 no script"]
)
def test_somebody_alike_is_looked_at_before_a_second_one_is_added(
    open_page: OpenPage, viewport: ViewportSize, javascript: bool
) -> None:
    """Four fields and two answers; the one alike is shown, opened or passed over, and nothing is typed twice."""
    known = PatientFactory(full_name="Zoe\u0308 Quill", born=date(1985, 4, 3), phone="+12125550123")
    page = desk(open_page, javascript=javascript, viewport=viewport)
    page.get_by_role("link", name="Patients", exact=True).click()
    page.get_by_label("Find a patient").fill("zoe quil")
    page.get_by_role("button", name="Find").click()
    page.get_by_role("link", name="Add a patient").click()
    write(page, full_name="Zoë Quill", call_me="Zoë", born="04/03/1985", phone="212 555 0199")
    page.locator("[name=prefers][value=sms]").check()
    page.locator("[name=consents][value=yes]").check()
    page.get_by_role("button", name="Add the patient").click()
    alike = page.get_by_role("alert")
    expect(alike).to_contain_text("Is it one of these? Nothing was saved yet")
    expect(alike.get_by_role("link")).to_have_attribute("href", f"/patients/{known.pk}/")
    expect(alike).to_contain_text("3 April 1985, 41 years old")
    assert Patient.objects.count() == 1
    assert (page.locator("[name=call_me]").input_value(), sideways(page)) == ("Zoë", 0)
    if javascript:
        assert axe_faults(page) == []
    page.get_by_role("button", name="It is somebody else: add the patient").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Zoë Quill")
    expect(page.locator("main")).to_contain_text("agreed by text message, today, asked by Dana Desk")
    added = Patient.objects.exclude(pk=known.pk).get()
    assert (added.phone, added.born, added.consents) == ("+12125550199", date(1985, 4, 3), True)


def test_a_child_is_registered_with_the_guardian_who_gets_the_messages(open_page: OpenPage) -> None:
    page = desk(open_page)
    page.goto("/patients/add/")
    write(page, full_name="Kit Quill", born="2016-06-19")
    page.locator("[name=prefers][value=sms]").check()
    page.locator("[name=consents][value=yes]").check()
    page.get_by_role("button", name="Add the patient").click()
    expect(page.locator(".page-messages")).to_contain_text("This patient is a minor: add the parent or guardian.")
    write(page, full_name="Mae Quill", phone="(800) 555-0100")
    page.locator("[name=prefers][value=sms]").check()
    page.get_by_label("Gets the messages instead of the patient").check()
    page.get_by_role("button", name="Add the helper").click()
    expect(page.locator(".error-summary")).to_contain_text("This cannot be a mobile number")
    write(page, phone="(212) 555-0177")
    page.get_by_role("button", name="Add the helper").click()
    expect(page.locator("main")).to_contain_text("gets the messages")
    helper = Helper.objects.get()
    assert (helper.relation, helper.phone, helper.patient.full_name) == ("guardian", "+12125550177", "Kit Quill")


def look_at(page: Page, text: str) -> None:
    page.goto("/patients/import/")
    file = {"name": "list.csv", "mimeType": "text/csv", "buffer": text.encode()}
    page.locator("input[type=file]").set_input_files(file)  # type: ignore[arg-type]
    page.get_by_role("button", name="Look at the file").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Which column is what?")


def check(page: Page, *, javascript: bool) -> None:
    """Without scripts a button asks for the next lines; with them the page goes on by itself."""
    page.get_by_role("button", name="Check the lines").click()
    if not javascript:
        page.get_by_role("button", name="Go on checking").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("What this list would do")


@pytest.mark.parametrize("javascript", [True, False], ids=["with JavaScript", "without JavaScript"])
def test_a_list_is_looked_at_then_written_and_read_again_changes_nothing(open_page: OpenPage, javascript: bool) -> None:
    page = desk(open_page, javascript=javascript, viewport=PHONE)
    look_at(page, MIXED)
    assert sideways(page) == 0
    check(page, javascript=javascript)
    main = page.locator("main")
    expect(main).to_contain_text("nothing is written yet")
    refused = page.locator("tbody tr")
    expect(refused).to_have_count(1)
    expect(refused).to_contain_text("Cy Ng")
    expect(refused.get_by_role("rowheader")).to_have_text("Line 4")
    expect(refused.locator("td[data-name=Why]")).to_have_text(re.compile(r"\S"))
    assert (Patient.objects.count(), sideways(page)) == (0, 0)
    if javascript:
        assert axe_faults(page) == []
        with page.expect_download() as download:
            page.get_by_role("link", name="Download the 1 left out").click()
        lines = download.value.path().read_text(encoding="utf-8-sig").splitlines()
        assert (lines[0].startswith(HEAD.strip()), len(lines), "Cy Ng" in lines[1]) == (True, 2, True)
    page.get_by_role("button", name="Write 2 new and 0 changed").click()
    expect(page.locator(".page-messages")).to_contain_text("Written: 2 new, 0 changed.")
    assert set(Patient.objects.values_list("full_name", flat=True)) == {"Ana Reis", "Bo Lund"}
    look_at(page, GOOD)
    check(page, javascript=javascript)
    expect(main).to_contain_text("There is nothing to write: no line is new and none has changed.")
    assert Patient.objects.count() == 2


@pytest.mark.parametrize(("fault", "until"), [("offline", 5_000), ("502", 30_000)])
def test_a_check_goes_on_by_itself_after_the_program_was_away(open_page: OpenPage, fault: str, until: int) -> None:
    page = desk(open_page)
    page.clock.install()
    look_at(page, GOOD)

    def away(route: Route) -> None:
        route.abort() if fault == "offline" else route.fulfill(status=502, body="<h1>Bad Gateway</h1>")

    page.route("**/check/", away)
    with page.expect_event("console", lambda said: "Failed to load" in said.text):
        page.get_by_role("button", name="Check the lines").click()
    expect(page.locator("#progress")).to_contain_text("0 of 2 lines checked")
    expect(page.locator("main")).not_to_contain_text("Bad Gateway")
    page.unroute("**/check/")
    page.clock.fast_forward(until)
    expect(page.get_by_role("heading", level=1)).to_have_text("What this list would do")


@pytest.mark.parametrize(
    ("content", "why"),
    [(b"", "This file is empty."), (b"PK\x03\x04", "save it as CSV")],
    ids=["empty", "spreadsheet"],
)
def test_a_file_that_is_no_list_is_refused_with_what_to_do(open_page: OpenPage, content: bytes, why: str) -> None:
    page = desk(open_page)
    page.goto("/patients/import/")
    file = {"name": "list.csv", "mimeType": "text/csv", "buffer": content}
    page.locator("input[type=file]").set_input_files(file)  # type: ignore[arg-type]
    page.get_by_role("button", name="Look at the file").click()
    expect(page.locator(".error-summary")).to_contain_text("The file was not kept:")
    expect(page.locator(".error-summary")).to_contain_text(why)
    assert axe_faults(page) == []


@pytest.mark.parametrize("zone", ["America/Los_Angeles", "Pacific/Auckland"])
@pytest.mark.parametrize("hour", ["04:30", "20:30"])
def test_a_birth_date_stays_in_whatever_zone_the_tablet_is(
    open_page: OpenPage, clock: time_machine.Traveller, zone: str, hour: str
) -> None:
    """Saved, opened and saved again: a date that a script reads as midnight in London would move by a day."""
    clock.move_to(NOW.replace(hour=int(hour[:2]), minute=30))
    page = desk(open_page, zone=zone)
    page.goto("/patients/add/")
    write(page, full_name="Ada Quill", born="05/15/1990", phone="212 555 0144")
    page.locator("[name=prefers][value=sms]").check()
    page.locator("[name=consents][value=yes]").check()
    page.get_by_role("button", name="Add the patient").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Ada Quill")
    expect(page.locator("main")).to_contain_text("15 May 1990")
    for call_me in ("Ada", "Addie"):
        page.goto(f"/patients/{Patient.objects.get().pk}/change/")
        born = page.locator("[name=born]").input_value()
        write(page, call_me=call_me)
        page.get_by_role("button", name="Save").click()
        expect(page.get_by_role("heading", level=1)).to_contain_text("Ada Quill")
        assert (born, Patient.objects.get().born) == ("1990-05-15", date(1990, 5, 15))
        assert Patient.objects.get().call_me == call_me
