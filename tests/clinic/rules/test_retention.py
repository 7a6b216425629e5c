"""How long a record is kept, day by day."""

from datetime import date

import pytest

from clinic.rules.retention import record_ends, years_later


@pytest.mark.parametrize(
    ("day", "years", "later"),
    [
        (date(2027, 3, 10), 10, date(2037, 3, 10)),
        (date(2028, 2, 29), 1, date(2029, 3, 1)),
        (date(2028, 2, 29), 4, date(2032, 2, 29)),
        (date(2028, 2, 29), -1, date(2027, 3, 1)),
        (date(2028, 2, 28), 1, date(2029, 2, 28)),
    ],
)
def test_the_same_day_in_another_year(day: date, years: int, later: date) -> None:
    assert years_later(day, years) == later


@pytest.mark.parametrize(
    ("born", "ends"),
    [
        (None, date(2037, 3, 10)),
        (date(1985, 4, 3), date(2037, 3, 10)),
        (date(2009, 3, 10), date(2037, 3, 10)),  # came of age on the day itself
        (date(2020, 5, 1), date(2048, 5, 1)),  # of age on 1 May 2038, and ten years more
    ],
)
def test_ten_years_after_the_last_contact_or_coming_of_age(born: date | None, ends: date) -> None:
    assert record_ends(date(2027, 3, 10), born, 10) == ends
