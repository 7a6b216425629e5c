"""The whole job by keyboard alone: each control is reached, seen while it has the focus, and left again."""

from collections.abc import Iterator

import pytest
import time_machine

from clinic.models import Clinic, Patient
from tests.browser.conftest import PHONE, TABLET, OpenPage
from tests.browser.flow import (
    all_on_record,
    as_last_time,
    somewhere_new,
    taped_before,
    therapist_at_work,
    visitor_today,
    work_begins,
)
from tests.browser.keys import Keys
from tests.factories.clinic import NOW


@pytest.fixture
def ada(transactional_db: None, clinic: Clinic) -> Iterator[Patient]:
    with time_machine.travel(NOW):
        yield visitor_today(therapist_at_work())


def test_again_as_last_time_by_keyboard(open_page: OpenPage, ada: Patient) -> None:
    taped_before(ada)
    page = open_page(viewport=TABLET)
    work_begins(page)
    keys = Keys(page)
    as_last_time(keys)
    all_on_record(ada)
    assert keys.faults == []


def test_new_place_by_keyboard_and_every_page_once_around(open_page: OpenPage, ada: Patient) -> None:
    page = open_page(viewport=TABLET)
    work_begins(page)
    keys = Keys(page)
    keys.round_trip()
    somewhere_new(keys, lambda name: keys.round_trip(), in_one=True, strips=2)
    all_on_record(ada)
    assert keys.faults == []


PAGE = """<style>:focus {{ outline: none }}</style><main>{}</main>"""


@pytest.mark.parametrize(
    ("controls", "fault"),
    [
        ("<button>Go</button><button>On</button>", "does not show that it has the focus"),
        ('<button tabindex="2">Go</button><button tabindex="1">On</button>', "the order is set by hand"),
        (
            '<button>Go</button><div style="position:absolute;top:200px"><button>A</button></div>'
            "<p><button>B</button></p>",
            "and stands before it",
        ),
        (
            '<button>Go</button><button>On</button><div style="position:fixed;inset:0;background:#fff"></div>',
            "is hidden while it has the focus",
        ),
    ],
)
def test_the_look_finds_what_is_wrong(open_page: OpenPage, controls: str, fault: str) -> None:
    page = open_page(viewport=PHONE)
    page.set_content(PAGE.format(controls))
    keys = Keys(page)
    keys.round_trip()
    assert any(fault in one for one in keys.faults)
