"""One way is enough to go home with tape on; none is too few."""

import pytest

from reminders.rules.leaving import Ways, may_leave


@pytest.mark.parametrize(
    ("way", "reason"),
    [
        ("telephone", "we can call them"),
        ("messages", "our messages reach them"),
        ("helper", "a helper takes it off"),
        ("visit", "a visit to take it off is booked"),
    ],
)
def test_any_one_way_is_enough(way: str, reason: str) -> None:
    leaving = may_leave(Ways(**{way: True}))
    assert (leaving.may, leaving.reasons) == (True, (reason,))


def test_several_ways_are_all_said() -> None:
    assert may_leave(Ways(telephone=True, visit=True)).reasons == (
        "we can call them", "a visit to take it off is booked",
    )  # fmt: skip


def test_without_any_it_says_what_would_be_one() -> None:
    leaving = may_leave(Ways())
    assert not leaving.may
    assert leaving.reasons == (
        "a telephone number, theirs or a helper's",
        "their agreement to reminders, with an address that works",
        "a named helper who takes the tape off",
        "a booked visit to take it off",
    )
