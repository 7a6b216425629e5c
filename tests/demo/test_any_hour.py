"""The demo can be made at any hour of any day."""

from datetime import UTC, datetime

import pytest

from clinic.models import User
from clinic.selectors import clinic_get
from reminders.demo.loading import Holds, database_holds, demo_load
from reminders.demo.reading import fixtures_read
from reminders.selectors.tapes import tape_rows, with_reaction
from taping.models import Application
from tests.factories import PatientFactory

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    "now",
    [
        datetime(2027, 3, 14, 7, 0, 30, tzinfo=UTC),  # Sunday, the first minute after clocks went forward
        datetime(2026, 12, 31, 4, 59, 59, tzinfo=UTC),  # a second before midnight, as the year ends
    ],
    ids=["clock change", "midnight"],
)
def test_every_state_is_there(now: datetime) -> None:
    demo_load(fixtures_read(), now)
    rows = tape_rows(with_reaction(Application.objects.all()), now=now, zone=clinic_get().zone)
    states = {"reaction" if row.reaction else row.state.value for row in rows}
    assert states == {"setting", "on", "due", "overdue", "reaction", "off"}


def test_an_empty_database_is_known_as_one() -> None:
    assert database_holds() is Holds.NOTHING


@pytest.mark.parametrize("make", [PatientFactory, lambda: User.objects.create_user("mira")], ids=["patient", "user"])
def test_somebodys_clinic_is_known_as_one(make: object) -> None:
    assert callable(make)
    make()
    assert database_holds() is Holds.OTHER
