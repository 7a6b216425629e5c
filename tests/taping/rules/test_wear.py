"""What the therapist is told about waiting, wearing and taking off."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from taping.rules.bounds import OutOfBoundsError
from taping.rules.clock import ClockError
from taping.rules.wear import (
    WearWindow,
    WindowError,
    adhesion_ends,
    earliest_taping,
    removal_options,
    shorten_window,
    skin_rest_ends,
    spell_day,
    suggest_shorter,
    water_ends,
    wear_window,
)

NEW_YORK = ZoneInfo("America/New_York")
FRIDAY = datetime(2027, 3, 26, 11, 0, tzinfo=NEW_YORK)
NAIVE = datetime(2027, 3, 26, 11, 0)


def friday_window(first_day: int = 4, last_day: int = 5) -> WearWindow:
    return wear_window(FRIDAY, NEW_YORK, first_day, last_day)


def test_the_waits_begin_with_the_last_strip() -> None:
    assert adhesion_ends(FRIDAY).isoformat() == "2027-03-26T11:20:00-04:00"
    assert water_ends(FRIDAY).isoformat() == "2027-03-26T12:00:00-04:00"


def test_exercise_before_taping_makes_the_skin_wait() -> None:
    assert earliest_taping(FRIDAY, 45).isoformat() == "2027-03-26T11:45:00-04:00"
    assert earliest_taping(FRIDAY, 0) == FRIDAY


def test_skin_rests_a_day_unless_the_clinic_says_otherwise() -> None:
    assert skin_rest_ends(FRIDAY).isoformat() == "2027-03-27T11:00:00-04:00"
    assert skin_rest_ends(FRIDAY, 48).isoformat() == "2027-03-28T11:00:00-04:00"


@pytest.mark.parametrize("rule", [adhesion_ends, water_ends, skin_rest_ends])
def test_a_naive_time_is_refused(rule: Callable[[datetime], datetime]) -> None:
    with pytest.raises(ClockError, match="2027-03-26T11:00:00 has no time zone"):
        rule(NAIVE)


def test_a_naive_time_is_refused_for_exercise_and_for_the_window() -> None:
    with pytest.raises(ClockError, match="The end of the exercise 2027-03-26T11:00:00 has no time zone"):
        earliest_taping(NAIVE, 30)
    with pytest.raises(ClockError, match="has no time zone"):
        wear_window(NAIVE, NEW_YORK)


@pytest.mark.parametrize(("minutes", "ok"), [(19, False), (20, True), (120, True), (121, False)])
def test_the_adhesion_wait_has_limits(minutes: int, ok: bool) -> None:
    if ok:
        assert adhesion_ends(FRIDAY, minutes) - FRIDAY == timedelta(minutes=minutes)
    else:
        with pytest.raises(OutOfBoundsError, match=f"adhesion wait is {minutes}; .* minutes from 20 to 120"):
            adhesion_ends(FRIDAY, minutes)


@pytest.mark.parametrize(("minutes", "ok"), [(19, False), (20, True), (240, True), (241, False)])
def test_the_wait_before_water_has_limits(minutes: int, ok: bool) -> None:
    if ok:
        assert water_ends(FRIDAY, minutes) - FRIDAY == timedelta(minutes=minutes)
    else:
        with pytest.raises(OutOfBoundsError, match=f"sweat and water is {minutes}; .* minutes from 20 to 240"):
            water_ends(FRIDAY, minutes)


@pytest.mark.parametrize(("hours", "ok"), [(0, False), (1, True), (168, True), (169, False)])
def test_the_skin_rest_has_limits(hours: int, ok: bool) -> None:
    if ok:
        assert skin_rest_ends(FRIDAY.astimezone(UTC), hours) - FRIDAY == timedelta(hours=hours)
    else:
        with pytest.raises(OutOfBoundsError, match=f"rest between tapes is {hours}; .* hours from 1 to 168"):
            skin_rest_ends(FRIDAY, hours)


@pytest.mark.parametrize(("minutes", "ok"), [(-1, False), (0, True), (240, True), (241, False)])
def test_the_drying_time_has_limits(minutes: int, ok: bool) -> None:
    if ok:
        assert earliest_taping(FRIDAY, minutes) - FRIDAY == timedelta(minutes=minutes)
    else:
        with pytest.raises(OutOfBoundsError, match=f"before taping is {minutes}; .* minutes from 0 to 240"):
            earliest_taping(FRIDAY, minutes)


@pytest.mark.parametrize("minutes", [True, 20.5, float("nan"), float("inf"), "20", None])
def test_what_is_no_whole_number_of_minutes_is_refused(minutes: object) -> None:
    with pytest.raises(OutOfBoundsError, match="it takes a whole number of minutes from 20 to 120"):
        adhesion_ends(FRIDAY, minutes)  # type: ignore[arg-type]


def test_the_window_says_its_days_and_how_they_were_counted() -> None:
    window = friday_window()
    assert (window.opens_on, window.closes_on, window.applied_on) == (
        date(2027, 3, 30),
        date(2027, 3, 31),
        date(2027, 3, 26),
    )
    assert window.reasons == (
        "Taped on Fri 26 Mar 2027 (day 0, on the clock of America/New_York).",
        "Day 4 is Tue 30 Mar 2027; day 5 is Wed 31 Mar 2027.",
        "Whole calendar days are counted, not hours; earlier is always allowed.",
    )


def test_the_usual_window_is_day_four_and_five() -> None:
    assert wear_window(FRIDAY, NEW_YORK) == friday_window(4, 5)


def test_two_strips_of_one_day_have_one_window_whatever_the_hour() -> None:
    first, last = (FRIDAY.replace(hour=hour, minute=minute) for hour, minute in ((0, 0), (23, 59)))
    assert wear_window(first, NEW_YORK) == wear_window(last, NEW_YORK) == friday_window()


def test_waits_keep_the_zone_they_were_asked_in() -> None:
    for zone in (UTC, NEW_YORK, ZoneInfo("Pacific/Chatham")):
        start = FRIDAY.astimezone(zone)
        for ends in (adhesion_ends(start), water_ends(start), earliest_taping(start, 30), skin_rest_ends(start)):
            assert ends.tzinfo is zone


def test_a_time_inside_the_spring_gap_is_refused_by_every_wait() -> None:
    missing = datetime(2027, 3, 14, 2, 30, tzinfo=NEW_YORK)
    for rule in (adhesion_ends, water_ends, skin_rest_ends):
        with pytest.raises(ClockError, match="does not exist: the clocks are put forward over it"):
            rule(missing)
    with pytest.raises(ClockError, match="does not exist"):
        earliest_taping(missing, 30)
    with pytest.raises(ClockError, match="does not exist"):
        wear_window(missing, NEW_YORK)


@pytest.mark.parametrize("zone", ["America/New_York", UTC, None])
def test_a_window_needs_a_zone_that_knows_its_clock_changes(zone: object) -> None:
    with pytest.raises(ClockError, match="is not a time zone; give a ZoneInfo"):
        wear_window(FRIDAY, zone)  # type: ignore[arg-type]


def test_the_day_of_the_tape_is_the_clinics_not_that_of_utc() -> None:
    late = datetime(2027, 3, 27, 2, 30, tzinfo=UTC)
    assert wear_window(late, NEW_YORK).applied_on == date(2027, 3, 26)
    assert wear_window(late, ZoneInfo("Pacific/Auckland")).applied_on == date(2027, 3, 27)


@pytest.mark.parametrize(
    ("first", "last", "says"),
    [
        (0, 5, "first day of the wear window is 0; .* days from 1 to 7"),
        (8, 8, "first day of the wear window is 8"),
        (4, 8, "last day of the wear window is 8"),
        (1, 0, "last day of the wear window is 0"),
        (True, 5, "first day of the wear window is True"),
        (5, 4, "begin on day 5 and end on day 4; give a first day of 4 or earlier, or a last day of 5 or later"),
    ],
)
def test_impossible_days_are_refused_with_what_works(first: int, last: int, says: str) -> None:
    with pytest.raises(OutOfBoundsError, match=says):
        wear_window(FRIDAY, NEW_YORK, first, last)


@pytest.mark.parametrize(("first", "last"), [(1, 1), (7, 7), (1, 7)])
def test_the_limits_themselves_are_possible_windows(first: int, last: int) -> None:
    window = wear_window(FRIDAY, NEW_YORK, first, last)
    assert (window.day_number(window.opens_on), window.day_number(window.closes_on)) == (first, last)


def test_a_window_beyond_the_calendar_is_a_plain_error() -> None:
    with pytest.raises(WindowError, match="9999-12-30 would end outside the calendar"):
        wear_window(datetime(9999, 12, 30, 12, tzinfo=UTC), ZoneInfo("UTC"))


@pytest.mark.parametrize(("opens", "closes"), [(26, 31), (25, 31), (31, 30)])
def test_a_stored_window_that_cannot_be_is_refused(opens: int, closes: int) -> None:
    with pytest.raises(WindowError, match="cannot have a wear window"):
        WearWindow(date(2027, 3, opens), date(2027, 3, closes), date(2027, 3, 26))


def test_the_days_of_a_window_include_first_and_last() -> None:
    assert friday_window(3, 5).days() == (date(2027, 3, 29), date(2027, 3, 30), date(2027, 3, 31))


def test_a_day_is_spelled_without_a_leading_nought() -> None:
    assert spell_day(date(2027, 1, 2)) == "Sat 2 Jan 2027"


def test_a_shortened_window_keeps_its_first_day_and_says_why() -> None:
    short = shorten_window(friday_window(3, 5), 4, why=" fragile skin ")
    assert (short.opens_on, short.closes_on) == (date(2027, 3, 29), date(2027, 3, 30))
    assert short.reasons[-1] == "Shortened to day 4, Tue 30 Mar 2027: fragile skin"
    assert short.reasons[:-1] == friday_window(3, 5).reasons


def test_a_window_shortened_to_before_its_beginning_is_one_day() -> None:
    short = shorten_window(friday_window(), 2, why="a child")
    assert short.days() == (date(2027, 3, 28),)


def test_ending_on_its_own_last_day_changes_no_day() -> None:
    assert shorten_window(friday_window(), 5, why="as planned").days() == friday_window().days()


def test_nothing_lengthens_a_window() -> None:
    with pytest.raises(WindowError, match="day 6 would lengthen the wear window; give a day from 1 to 5"):
        shorten_window(friday_window(), 6, why="holiday")


def test_shortening_needs_a_reason_and_a_possible_day() -> None:
    with pytest.raises(WindowError, match="needs the therapist's reason"):
        shorten_window(friday_window(), 3, why="  ")
    with pytest.raises(OutOfBoundsError, match="last day of the wear window is 0"):
        shorten_window(friday_window(), 0, why="fragile skin")


@settings(deadline=None)
@given(st.integers(1, 7), st.integers(1, 7), st.integers(1, 7))
def test_shortening_never_moves_an_end_later(first: int, last: int, wanted: int) -> None:
    window = friday_window(min(first, last), max(first, last))
    if wanted > max(first, last):
        with pytest.raises(WindowError):
            shorten_window(window, wanted, why="x")
    else:
        short = shorten_window(window, wanted, why="x")
        assert (short.closes_on - window.applied_on).days == wanted
        assert short.opens_on == min(window.opens_on, short.closes_on)


@pytest.mark.parametrize(
    ("caution", "child", "cause"),
    [
        (True, False, "the screen found a caution"),
        (False, True, "a child wears it"),
        (True, True, "the screen found a caution and a child wears it"),
    ],
)
def test_a_caution_or_a_child_suggests_one_to_three_days(caution: bool, child: bool, cause: str) -> None:
    shorter = suggest_shorter(caution=caution, child=child)
    assert shorter is not None
    assert (shorter.first_day, shorter.last_day) == (1, 3)
    assert shorter.reasons == (f"Take it off after 1 to 3 days: {cause} (common practice, no source).",)


def test_without_caution_and_child_nothing_is_suggested() -> None:
    assert suggest_shorter(caution=False, child=False) is None


def test_visits_are_offered_on_the_open_days_of_the_window() -> None:
    options = removal_options(friday_window(), lambda day: day != date(2027, 3, 30))
    assert options.visit_days == (date(2027, 3, 31),)
    assert (options.home_day, options.last_open_before) == (date(2027, 3, 31), None)
    assert options.reasons == (
        "At the clinic: Wed 31 Mar 2027 (day 5).",
        "At home: Wed 31 Mar 2027, the last day of the wear window.",
    )


def test_both_days_of_the_window_are_offered_when_the_clinic_is_open() -> None:
    options = removal_options(friday_window(), lambda _: True)
    assert options.visit_days == (date(2027, 3, 30), date(2027, 3, 31))
    assert options.reasons[0] == "At the clinic: Tue 30 Mar 2027 (day 4), Wed 31 Mar 2027 (day 5)."


def test_a_clinic_closed_in_the_whole_window_offers_the_last_open_day_before() -> None:
    options = removal_options(friday_window(), lambda day: day <= date(2027, 3, 28))
    assert (options.visit_days, options.home_day) == ((), date(2027, 3, 31))
    assert options.last_open_before == date(2027, 3, 28)
    assert options.reasons == (
        "The clinic is closed on every day of the wear window.",
        "The last open day before it is Sun 28 Mar 2027 (day 2).",
        "At home: Wed 31 Mar 2027, the last day of the wear window.",
    )


def test_the_day_after_the_tape_is_the_earliest_open_day_looked_at() -> None:
    only = removal_options(friday_window(), lambda day: day == date(2027, 3, 27))
    assert only.last_open_before == date(2027, 3, 27)


def test_a_clinic_open_only_on_the_day_of_the_tape_leaves_home() -> None:
    asked: list[date] = []

    def is_open(day: date) -> bool:
        asked.append(day)
        return day <= date(2027, 3, 26)

    options = removal_options(friday_window(), is_open)
    assert options.last_open_before is None
    assert options.reasons[1] == (
        "It is not open between the tape and the window either: somebody has to take it off at home."
    )
    assert sorted(asked) == [date(2027, 3, day) for day in range(27, 32)]
