"""Who logs in with a code as well."""

from datetime import date, timedelta

import pytest

from clinic.rules.code_need import code_need

TODAY, DAY = date(2027, 3, 10), timedelta(days=1)


@pytest.mark.parametrize(
    ("managers", "is_manager", "everybody_from", "expected"),
    [
        (True, True, None, "now"),
        (True, False, None, "no"),
        (False, True, None, "no"),
        (True, False, TODAY + DAY, "soon"),
        (True, True, TODAY + DAY, "now"),
        (False, True, TODAY + DAY, "soon"),
        (True, False, TODAY, "now"),
        (False, False, TODAY - DAY, "now"),
    ],
)
def test_managers_always_and_everybody_from_their_day_on(
    managers: bool, is_manager: bool, everybody_from: date | None, expected: str
) -> None:
    found = code_need(managers=managers, is_manager=is_manager, everybody_from=everybody_from, today=TODAY)
    assert found == expected
