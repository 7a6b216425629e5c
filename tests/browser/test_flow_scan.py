"""The accessibility scan of each page of the job as it stands while the job is done, light and dark."""

from collections.abc import Iterator

import pytest
import time_machine

from clinic.models import Clinic, Patient
from tests.browser.conftest import TABLET, OpenPage, axe_faults
from tests.browser.flow import (
    Finger,
    all_on_record,
    as_last_time,
    somewhere_new,
    taped_before,
    therapist_at_work,
    visitor_today,
    work_begins,
)
from tests.factories.clinic import NOW

AS_LAST_TIME = ["place", "screen", "answered", "verdict", "laying", "handing over", "settled", "today"]
SOMEWHERE_NEW = [*AS_LAST_TIME[:4], "plan", "laying", "two strips", *AS_LAST_TIME[5:]]


@pytest.fixture
def ada(transactional_db: None, clinic: Clinic) -> Iterator[Patient]:
    with time_machine.travel(NOW):
        yield visitor_today(therapist_at_work())


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("again", [True, False], ids=["as last time", "somewhere new"])
def test_scan_finds_nothing_on_any_page_of_the_job(open_page: OpenPage, ada: Patient, dark: bool, again: bool) -> None:
    page = open_page(viewport=TABLET, dark=dark)
    work_begins(page)
    scanned: list[str] = []
    faults: list[str] = []

    def scan(name: str) -> None:
        scanned.append(name)
        faults.extend(f"{name}: {fault}" for fault in axe_faults(page))

    if again:
        taped_before(ada)
        as_last_time(Finger(page), scan, in_one=True)
    else:
        somewhere_new(Finger(page), scan, in_one=True, strips=2)
    all_on_record(ada)
    assert scanned == (AS_LAST_TIME if again else SOMEWHERE_NEW)
    assert faults == []
