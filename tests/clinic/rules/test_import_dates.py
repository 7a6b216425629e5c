"""The order of a whole column of dates: told by the dates that read one way only, never guessed."""

from datetime import date

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clinic.rules.ages import DateOrder, UnreadableDateError
from clinic.rules.import_dates import AmbiguousDateError, DateColumn, read_date

TODAY = date(2027, 3, 10)


def column(*texts: str) -> DateColumn:
    found = DateColumn()
    found.look(texts, latest=TODAY)
    return found


@pytest.mark.parametrize(
    ("texts", "order"),
    [
        (["03/04/1985", "13/04/1985"], DateOrder.DMY),
        (["03/04/1985", "04/13/1985"], DateOrder.MDY),
        (["13/04/1985", "nonsense", "36585", ""], DateOrder.DMY),
        (["1985-04-03", "1990-12-31"], DateOrder.YMD),
        (["04/04/1985"], DateOrder.YMD),
        ([], DateOrder.YMD),
        (["03/04/1985"], None),
        (["03/04/1985", "1985-04-03"], None),
        (["03/04/1985", "13/04/1985", "04/13/1985"], None),
    ],
)
def test_the_order_is_the_column_s(texts: list[str], order: DateOrder | None) -> None:
    assert column(*texts).order == order


@pytest.mark.parametrize(
    ("text", "order", "day"),
    [
        ("03/04/1985", DateOrder.DMY, date(1985, 4, 3)),
        ("03/04/1985", DateOrder.MDY, date(1985, 3, 4)),
        ("13/04/1985", None, date(1985, 4, 13)),
        ("04/13/1985", None, date(1985, 4, 13)),
        ("04/04/1985", None, date(1985, 4, 4)),
        ("1985-04-03", None, date(1985, 4, 3)),
        ("1985-04-03", DateOrder.MDY, date(1985, 4, 3)),
        ("04/04/1985", DateOrder.YMD, date(1985, 4, 4)),
    ],
)
def test_a_date_is_read_in_the_order_of_its_column(text: str, order: DateOrder | None, day: date) -> None:
    assert read_date(text, order, latest=TODAY) == day


def test_a_date_that_reads_two_ways_is_asked_about() -> None:
    with pytest.raises(AmbiguousDateError, match="4 March 1985 or 3 April 1985"):
        read_date("03/04/1985", None, latest=TODAY)


@pytest.mark.parametrize(
    "text", ["36585", "25569.0", "60", "03/04/45", "29/02/2023", "31/12/2099", "01/01/0001", "soon"]
)
@pytest.mark.parametrize("order", [None, DateOrder.DMY, DateOrder.MDY, DateOrder.YMD])
def test_counts_of_days_and_short_years_are_never_dates(text: str, order: DateOrder | None) -> None:
    with pytest.raises(UnreadableDateError):
        read_date(text, order, latest=TODAY)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("29/02/2023", "29/02/2023 does not exist, whichever of day and month comes first"),
        ("31/12/2099", "31/12/2099 is not between 1900-01-01 and 2027-03-10"),
        ("01/01/0001", "01/01/0001 is not between 1900-01-01 and 2027-03-10"),
        ("2023-02-29", "2023-02-29 does not exist (read as year 2023, month 2, day 29)"),
        ("2099-12-31", "2099-12-31 is not between 1900-01-01 and 2027-03-10"),
        ("03/04/45", "03/04/45 needs a year of four digits"),
        ("soon", "'soon' is not a date"),
        ("36585", "36585 is a bare number"),
    ],
)
@pytest.mark.parametrize("order", [None, DateOrder.YMD])
def test_the_reason_is_what_is_wrong_with_the_date(text: str, order: DateOrder | None, reason: str) -> None:
    with pytest.raises(UnreadableDateError) as refused:
        read_date(text, order, latest=TODAY)
    assert str(refused.value).startswith(reason)


@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.dates(date(1900, 1, 1), TODAY)), st.sampled_from([DateOrder.DMY, DateOrder.MDY]))
def test_a_column_is_read_right_or_asked_about_and_never_read_wrong(days: list[date], written: DateOrder) -> None:
    form = "{0.day}/{0.month}/{0.year}" if written is DateOrder.DMY else "{0.month}/{0.day}/{0.year}"
    texts = [form.format(day) for day in days]
    order = column(*texts).order
    for text, day in zip(texts, days, strict=True):
        try:
            assert read_date(text, order, latest=TODAY) == day
        except AmbiguousDateError:
            assert order is None
