"""The days of a tape are never more than the clinic's, whatever is corrected afterwards."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from clinic.models import Clinic, Visit
from taping.models import Application
from taping.services.refusals import TapingRefused
from taping.services.windows import (
    Shortening,
    shortened,
    window_moved,
    window_of,
    window_of_clinic,
    window_store,
)

ZONE = ZoneInfo("America/New_York")
NOON = datetime(2027, 3, 10, 17, 0, tzinfo=UTC)


def tape(**fields: object) -> Application:
    days = {"opens_on": date(2027, 3, 14), "closes_on": date(2027, 3, 15), "removal_day": date(2027, 3, 15)}
    return Application(applied_at=NOON, **{**days, **fields})


@pytest.mark.parametrize(
    ("applied_at", "opens_on"),
    [
        (NOON, date(2027, 3, 14)),
        (datetime(2027, 3, 11, 4, 59, tzinfo=UTC), date(2027, 3, 14)),  # 23:59 of the 10th in New York
        (datetime(2027, 3, 11, 5, 0, tzinfo=UTC), date(2027, 3, 15)),  # midnight
    ],
)
def test_days_are_counted_in_the_clinics_zone(applied_at: datetime, opens_on: date) -> None:
    assert window_of_clinic(applied_at, Clinic(), None).opens_on == opens_on


def test_clinics_own_days_are_used() -> None:
    window = window_of_clinic(NOON, Clinic(wear_first_day=2, wear_last_day=7), None)
    assert (window.opens_on, window.closes_on) == (date(2027, 3, 12), date(2027, 3, 17))


@pytest.mark.parametrize("last_day", [1, 2, 3, 4, 5])
def test_shortening_ends_on_its_day(last_day: int) -> None:
    window = window_of_clinic(NOON, Clinic(), Shortening(last_day, "thin skin"))
    assert window.closes_on == date(2027, 3, 10) + timedelta(days=last_day)
    assert window.opens_on == min(date(2027, 3, 14), window.closes_on)


@pytest.mark.parametrize(
    ("shortening", "field"),
    [
        (Shortening(6, "holiday"), "last_day"),
        (Shortening(0, "thin skin"), "last_day"),
        (Shortening(3, "  "), "shorten_why"),
    ],
)
def test_what_does_not_shorten_is_refused_as_a_sentence(shortening: Shortening, field: str) -> None:
    with pytest.raises(TapingRefused) as refused:
        shortened(window_of(tape(), ZONE), shortening)
    assert refused.value.field == field
    assert refused.value.message[0].isupper()
    assert refused.value.message.endswith(".")


def test_stored_window_is_read_back() -> None:
    window = window_of(tape(), ZONE)
    assert (window.applied_on, window.opens_on, window.closes_on) == (
        date(2027, 3, 10),
        date(2027, 3, 14),
        date(2027, 3, 15),
    )


def test_corrected_time_keeps_the_day_numbers() -> None:
    short = tape(opens_on=date(2027, 3, 12), closes_on=date(2027, 3, 12))
    window = window_moved(short, NOON - timedelta(days=1), ZONE)
    assert (window.opens_on, window.closes_on) == (date(2027, 3, 11), date(2027, 3, 11))


def test_without_a_visit_the_removal_day_is_the_last() -> None:
    row = tape()
    window_store(row, window_of_clinic(NOON, Clinic(), Shortening(3, "thin skin")), ZONE)
    assert (row.opens_on, row.closes_on, row.removal_day) == (date(2027, 3, 13),) * 3


@pytest.mark.parametrize(("days", "fits"), [(3, True), (4, True), (5, False)])
def test_removal_visit_must_fit(days: int, fits: bool) -> None:
    row = tape()
    row.removal_visit = Visit(starts_at=NOON + timedelta(days=days))
    window = window_of_clinic(NOON, Clinic(), Shortening(4, "thin skin"))
    if not fits:
        with pytest.raises(TapingRefused, match="Mon 15 Mar 2027, after the new last day Sun 14 Mar 2027"):
            window_store(row, window, ZONE)
        return
    window_store(row, window, ZONE)
    assert row.removal_day == date(2027, 3, 10) + timedelta(days=days)
