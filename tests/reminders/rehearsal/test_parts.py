"""One object of a file: what is taken, what is refused, and how the path of a key is written."""

from collections.abc import Callable
from datetime import UTC, date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from reminders.rehearsal.parts import BadScenario, Part, read_date, read_span, read_word

LONDON = ZoneInfo("Europe/London")


def part(value: Any) -> Part:
    return Part({"key": value}, "rows[3]", ("key", "other"))


def refused(read: Callable[[], object]) -> str:
    with pytest.raises(BadScenario) as bad:
        read()
    return str(bad.value)


def test_the_path_is_that_of_the_file() -> None:
    assert part(1).at("key") == "rows[3].key"
    assert Part({}, "", ()).at("key") == "key"
    assert refused(lambda: part(1).text("key")) == "rows[3].key: must be a text in quotes, not 1"


def test_a_key_that_is_no_name_is_shown_so_that_it_can_be_read() -> None:
    line = refused(lambda: Part({"a\nb": 1}, "rows[0]", ("a",)))
    assert line == "rows[0].'a\\nb': is no key of this place; there are a"


def test_a_long_value_is_not_shown_whole() -> None:
    assert len(refused(lambda: part("x" * 150).choice("key", ("a", "b")))) < 120


def test_what_is_missing_is_missing_and_what_has_a_default_takes_it() -> None:
    empty = Part({}, "rows[3]", ("key",))
    assert refused(lambda: empty.text("key")) == "rows[3].key: is missing"
    assert (empty.text("key", "x"), empty.truth("key", True), empty.number("key", 3, 1, 5)) == ("x", True, 3)
    assert (empty.clock("key", time(8)), empty.listed("key", read_date), empty.part("key", ()).keys) == (
        time(8),
        [],
        (),
    )


def test_null_is_empty_only_where_it_may_be() -> None:
    assert part(None).text("key", "", null=True) == ""
    assert refused(lambda: part(None).text("key", "")) == "rows[3].key: must be a text in quotes, not null"


@pytest.mark.parametrize("value", [0, 1, "true", None, []])
def test_only_true_and_false_are_truths(value: object) -> None:
    assert "must be true or false" in refused(lambda: part(value).truth("key", True))


@pytest.mark.parametrize("value", [True, 1.0, "1", None, 0, 6, 10**30])
def test_only_whole_numbers_within_their_bounds_are_numbers(value: object) -> None:
    assert refused(lambda: part(value).number("key", 3, 1, 5)).startswith("rows[3].key: must be ")


@pytest.mark.parametrize("value", ["8:00", "08:00:00", "24:00", "08:60", "0800", "٠٨:٠٠", "", 8])
def test_only_hours_and_minutes_are_a_clock_time(value: object) -> None:
    assert refused(lambda: part(value).clock("key", time(8))).startswith("rows[3].key: ")


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("2027-03-26T15:00:00Z", (26, 15, 0, 0)),
        ("2027-03-26 15:00Z", (26, 15, 0, 0)),
        ("2027-03-26T15:00:00.25+00:00", (26, 15, 0, 0)),
        ("2027-03-26T23:30:00-05:00", (27, 4, 30, 0)),
        ("2027-03-28T03:30", (28, 2, 30, 0)),
        ("2027-03-28T00:59:59", (28, 0, 59, 59)),
    ],
)
def test_a_time_is_an_instant(written: str, read: tuple[int, int, int, int]) -> None:
    """London puts its clocks forward at 01:00 UTC on 28 March 2027 (IANA tz database)."""
    found = part(written).moment("key", LONDON)
    assert (found.day, found.hour, found.minute, found.second, found.tzinfo) == (*read, UTC)


@pytest.mark.parametrize(
    "written",
    ["2027-03-26", "20270326T150000Z", "2027-W12-5T15:00Z", "2027-03-26T15Z", "2027-03-26T25:00Z", "1900-01-01T00:00Z",
     "2027-03-26T15:00+25:00", "2027-02-30T15:00Z", "now", "", "2027-03-26T15:00z "],
)  # fmt: skip
def test_any_other_way_to_write_a_time_is_refused(written: str) -> None:
    assert refused(lambda: part(written).moment("key", LONDON)).startswith("rows[3].key: ")


@pytest.mark.parametrize(
    ("written", "words"), [("2027-03-28T01:30", "does not exist"), ("2027-10-31T01:30", "happens twice")]
)
def test_a_local_time_that_does_not_exist_or_happens_twice_says_so(written: str, words: str) -> None:
    """London changes its clocks on 28 March and 31 October 2027 (IANA tz database)."""
    line = refused(lambda: part(written).moment("key", LONDON))
    assert (line.startswith("rows[3].key: "), words in line, "Europe/London" in line) == (True, True, True)


def test_a_default_moment_is_taken_as_it_is() -> None:
    default = datetime(2027, 3, 1, tzinfo=UTC)
    assert Part({}, "", ("key",)).moment("key", LONDON, default) is default


@pytest.mark.parametrize("name", ["America", "EST5", "/etc/passwd", "Europe/london ", "", "\u0000"])
def test_only_a_time_zone_is_a_time_zone(name: str) -> None:
    assert refused(lambda: part(name).zone("key", "UTC")).startswith("rows[3].key: ")


def test_items_are_read_with_their_place_in_the_list() -> None:
    assert part(["2027-03-26"]).listed("key", read_date) == [date(2027, 3, 26)]
    assert refused(lambda: part(["2027-03-26", "soon"]).listed("key", read_date)).startswith("rows[3].key[1]: ")


def test_spans_and_words_name_what_would_work() -> None:
    assert read_span(["08:00", "18:30"], "open.mon") == (time(8), time(18, 30))
    assert refused(lambda: read_span(["08:00"], "open.mon")).startswith("open.mon: must be two clock times")
    assert refused(lambda: read_span(["08:00", "08:00"], "open.mon")).startswith("open.mon: closes at 08:00")
    assert refused(lambda: read_word(("a", "b"))("c", "signs[0]")) == "signs[0]: is 'c'; there are a, b"
