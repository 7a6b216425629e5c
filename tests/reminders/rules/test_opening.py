"""Open or closed, and when it opens next; and whether the duty address is told."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from reminders.rules.duty import plan_duty_report
from reminders.rules.kinds import MessageKind
from reminders.rules.opening import Opening, opening

ZONE = ZoneInfo("America/New_York")
HOURS = {2: [(time(13), time(18)), (time(8), time(12))], 3: [(time(8), time(18))]}  # Wednesday, Thursday
WEDNESDAY = date(2027, 3, 10)


def at(hour: int, minute: int = 0, day: date = WEDNESDAY) -> datetime:
    return datetime(day.year, day.month, day.day, hour, minute, tzinfo=ZONE).astimezone(UTC)


@pytest.mark.parametrize(
    ("now", "expected"),
    [
        (at(7, 59), at(8)),
        (at(8), "open"),
        (at(11, 59), "open"),
        (at(12), at(13)),
        (at(17, 59), "open"),
        (at(18), at(8, day=date(2027, 3, 11))),
        (at(9, day=date(2027, 3, 12)), at(8, day=date(2027, 3, 17))),
    ],
)
def test_by_the_hours_of_the_day_ends_left_out(now: datetime, expected: datetime | str) -> None:
    found = opening(now, ZONE, HOURS, set())
    assert ("open" if found.open_now else found.opens_at) == expected


def test_on_a_day_of_closure_it_is_closed() -> None:
    assert opening(at(9), ZONE, HOURS, {WEDNESDAY}) == Opening(open_now=False, opens_at=at(8, day=date(2027, 3, 11)))


def test_without_hours_nobody_is_promised_anything() -> None:
    assert opening(at(9), ZONE, {}, set()) == Opening(open_now=False, opens_at=None)


def test_a_naive_moment_is_refused() -> None:
    with pytest.raises(ValueError, match="now"):
        opening(datetime(2027, 3, 10, 9), ZONE, HOURS, set())


CLOSED, OPEN = Opening(open_now=False, opens_at=None), Opening(open_now=True, opens_at=None)


def test_the_duty_address_is_told_at_once_while_the_clinic_is_closed() -> None:
    planned = plan_duty_report(at(21, 40), ZONE, CLOSED)
    assert planned is not None
    assert (planned.kind, planned.due_at) == (MessageKind.DUTY_REPORT, at(21, 40))
    assert planned.expires_at - planned.due_at == timedelta(hours=24)
    assert planned.reasons == ("a skin reaction was reported at 21:40, outside opening hours",)


def test_the_duty_address_is_left_alone_while_somebody_is_there() -> None:
    assert plan_duty_report(at(9), ZONE, OPEN) is None
