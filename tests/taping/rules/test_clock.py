"""Clock times that a person typed, and the edges of a day."""

from datetime import UTC, date, datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo

import pytest

from taping.rules.clock import ClockError, LocalTimeError, day_bounds, elapsed, local_date, local_time, require_aware

NEW_YORK = ZoneInfo("America/New_York")
LONDON = ZoneInfo("Europe/London")


def test_an_ordinary_local_time_becomes_that_wall_clock_time() -> None:
    assert local_time(datetime(2027, 3, 26, 10, 0), NEW_YORK).isoformat() == "2027-03-26T10:00:00-04:00"


def test_a_time_that_does_not_exist_is_refused_with_both_readings_and_what_works() -> None:
    with pytest.raises(LocalTimeError) as refused:
        local_time(datetime(2027, 3, 28, 1, 30), LONDON)
    assert str(refused.value) == (
        "2027-03-28 01:30 does not exist in Europe/London: the clocks are put forward over it "
        "(2027-03-28T00:30Z or 2027-03-28T01:30Z); 00:30 and 02:30 exist"
    )


def test_a_time_that_happens_twice_is_refused_with_both_readings() -> None:
    with pytest.raises(LocalTimeError) as refused:
        local_time(datetime(2027, 10, 31, 1, 30), LONDON)
    assert str(refused.value) == (
        "2027-10-31 01:30 happens twice in Europe/London: 2027-10-31T00:30Z or 2027-10-31T01:30Z; "
        "say which, with an offset from UTC"
    )


def test_a_fold_given_by_the_caller_does_not_hide_that_a_time_happens_twice() -> None:
    with pytest.raises(LocalTimeError, match="happens twice"):
        local_time(datetime(2027, 10, 31, 1, 30, fold=1), LONDON)


@pytest.mark.parametrize(
    ("wall", "ok"),
    [((1, 59, 59), True), ((2, 0, 0), False), ((2, 59, 59), False), ((3, 0, 0), True)],
)
def test_the_gap_begins_and_ends_to_the_second(wall: tuple[int, int, int], ok: bool) -> None:
    typed = datetime(2026, 3, 8, *wall)
    if ok:
        assert local_time(typed, NEW_YORK).replace(tzinfo=None) == typed
    else:
        with pytest.raises(LocalTimeError):
            local_time(typed, NEW_YORK)


@pytest.mark.parametrize(
    "typed", [datetime(2027, 3, 26, 10, 0, tzinfo=UTC), date(2027, 3, 26), "2027-03-26T10:00", None]
)
def test_what_is_not_a_plain_local_time_is_refused(typed: object) -> None:
    with pytest.raises(ClockError, match="is not a plain local time; leave the zone out, it is America/New_York"):
        local_time(typed, NEW_YORK)  # type: ignore[arg-type]


@pytest.mark.parametrize("zone", [UTC, timezone(timedelta(hours=-5)), "America/New_York", None])
def test_only_a_zone_that_knows_its_clock_changes_is_taken(zone: object) -> None:
    for refuse in (
        lambda: local_time(datetime(2027, 3, 26, 10, 0), zone),  # type: ignore[arg-type]
        lambda: day_bounds(date(2027, 3, 26), zone),  # type: ignore[arg-type]
        lambda: local_date(datetime(2027, 3, 26, 10, 0, tzinfo=UTC), zone),  # type: ignore[arg-type]
    ):
        with pytest.raises(ClockError, match="is not a time zone; give a ZoneInfo"):
            refuse()


def test_a_naive_time_is_refused_by_name() -> None:
    with pytest.raises(ClockError, match=r"The tape 2027-03-26T10:00:00 has no time zone"):
        require_aware("The tape", datetime(2027, 3, 26, 10, 0))


class Vague(tzinfo):
    """A zone that does not say how far it is from UTC; the standard library allows it."""

    def utcoffset(self, _: datetime | None) -> None:
        return None

    dst = tzname = utcoffset


def test_a_zone_without_an_offset_is_no_zone() -> None:
    with pytest.raises(ClockError, match=r"The tape 2027-03-26T10:00:00 has no time zone; add one"):
        require_aware("The tape", datetime(2027, 3, 26, 10, 0, tzinfo=Vague()))


def test_what_is_no_datetime_is_refused_by_name() -> None:
    with pytest.raises(ClockError, match="The tape is '10:00'; give a date and time"):
        require_aware("The tape", "10:00")


def test_an_aware_time_inside_the_gap_is_refused_and_its_moment_named() -> None:
    with pytest.raises(LocalTimeError, match=r"02:30:00-05:00 does not exist: .* is 2026-03-08T03:30:00-04:00"):
        require_aware("The tape", datetime(2026, 3, 8, 2, 30, tzinfo=NEW_YORK))


@pytest.mark.parametrize("fold", [0, 1])
def test_an_aware_time_that_happens_twice_says_itself_which_one_it_is(fold: int) -> None:
    moment = datetime(2026, 11, 1, 1, 30, tzinfo=NEW_YORK, fold=fold)
    assert require_aware("The tape", moment) is moment


@pytest.mark.parametrize("edge", [datetime.min.replace(tzinfo=UTC), datetime.max.replace(tzinfo=UTC)])
def test_the_ends_of_the_calendar_are_a_plain_error(edge: datetime) -> None:
    step = timedelta(days=1) if edge.year > 5000 else timedelta(days=-1)
    with pytest.raises(ClockError, match="outside the calendar; give a nearer time"):
        elapsed(edge, step)


def test_a_time_whose_utc_is_beyond_the_calendar_is_a_plain_error() -> None:
    with pytest.raises(ClockError, match="outside the calendar; give a nearer time"):
        require_aware("The tape", datetime(9999, 12, 31, 23, 0, tzinfo=NEW_YORK))


def test_the_last_day_of_the_calendar_has_no_end() -> None:
    with pytest.raises(ClockError, match="9999-12-31 is outside the calendar; give a nearer day"):
        day_bounds(date.max, NEW_YORK)


def test_elapsed_time_keeps_the_zone_it_came_in() -> None:
    start = datetime(2026, 3, 8, 1, 50, tzinfo=NEW_YORK)
    assert elapsed(start, timedelta(minutes=20)).isoformat() == "2026-03-08T03:10:00-04:00"
    assert elapsed(start, timedelta(minutes=20)).tzinfo is NEW_YORK


def test_a_day_that_the_zone_left_out_is_an_empty_range() -> None:
    # Samoa crossed the date line: 30 December 2011 did not happen (IANA tz database, zone Pacific/Apia).
    begins, ends = day_bounds(date(2011, 12, 30), ZoneInfo("Pacific/Apia"))
    assert begins == ends == datetime(2011, 12, 30, 10, 0, tzinfo=UTC)
