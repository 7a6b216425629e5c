"""The clinic's numbers and their limits."""

import inspect
from collections.abc import Callable

import pytest

from taping.rules.bounds import Bounds, OutOfBoundsError
from taping.rules.policy import BOUNDS, Policy, PolicyError, PolicyProblem
from taping.rules.wear import adhesion_ends, skin_rest_ends, water_ends, wear_window

LIMITS = {
    "adhesion_minutes": (20, 120, 20),
    "water_minutes": (20, 240, 60),
    "first_day": (1, 7, 4),
    "last_day": (1, 7, 5),
    "skin_rest_hours": (1, 168, 24),
    "drying_minutes": (0, 240, 30),
}


def test_the_usual_numbers_are_a_policy() -> None:
    policy = Policy()
    assert (policy.adhesion_minutes, policy.water_minutes) == (20, 60)
    assert (policy.first_day, policy.last_day) == (4, 5)
    assert (policy.skin_rest_hours, policy.drying_minutes) == (24, 30)
    assert policy.cautions() == ()


def test_the_limits_are_those_of_the_trade() -> None:
    assert {key: (row.least, row.greatest, row.default) for key, row in BOUNDS.items()} == LIMITS


@pytest.mark.parametrize("bounds", BOUNDS.values(), ids=BOUNDS)
def test_every_number_says_where_it_comes_from(bounds: Bounds) -> None:
    assert "page" in bounds.source


@pytest.mark.parametrize(("key", "edge"), [(key, edge) for key, limits in LIMITS.items() for edge in limits[:2]])
def test_a_number_at_its_limit_is_possible(key: str, edge: int) -> None:
    days = {"first_day": 1, "last_day": 7}
    assert getattr(Policy(**{**days, key: edge}), key) == edge


@pytest.mark.parametrize("key", LIMITS)
@pytest.mark.parametrize("step", [-1, 1])
def test_a_number_beyond_its_limit_is_refused_at_its_field(key: str, step: int) -> None:
    least, greatest, _ = LIMITS[key]
    value = least - 1 if step < 0 else greatest + 1
    label, unit = BOUNDS[key].label, BOUNDS[key].unit
    wanted = f"{label} is {value}; it takes a whole number of {unit} from {least} to {greatest}"
    assert Policy.problems({key: value}) == (PolicyProblem(key, wanted),)
    with pytest.raises(PolicyError, match=f"from {least} to {greatest}"):
        Policy(**{key: value})


@pytest.mark.parametrize("value", [True, 20.0, float("nan"), "20", None])
def test_what_is_no_whole_number_is_refused(value: object) -> None:
    assert [problem.field for problem in Policy.problems({"adhesion_minutes": value})] == ["adhesion_minutes"]


def test_every_problem_is_told_at_once() -> None:
    with pytest.raises(PolicyError) as refused:
        Policy(adhesion_minutes=5, last_day=9)
    assert str(refused.value) == (
        "the adhesion wait is 5; it takes a whole number of minutes from 20 to 120; "
        "the last day of the wear window is 9; it takes a whole number of days from 1 to 7"
    )


def test_days_in_the_wrong_order_are_one_problem_at_the_last_day() -> None:
    assert Policy.problems({"first_day": 6}) == (
        PolicyProblem(
            "last_day",
            "the wear window would begin on day 6 and end on day 5; "
            "give a first day of 5 or earlier, or a last day of 6 or later",
        ),
    )


def test_one_day_can_be_first_and_last() -> None:
    assert Policy.problems({"first_day": 5, "last_day": 5}) == ()


def test_a_field_that_is_no_number_of_the_policy_is_named() -> None:
    with pytest.raises(PolicyError, match="'wear_hours' is no number of the policy; there are adhesion_minutes, "):
        Policy.problems({"wear_hours": 72})


def test_water_before_easy_movement_is_a_caution_and_the_longer_wait_counts() -> None:
    policy = Policy(adhesion_minutes=90)
    assert policy.water_wait_minutes == 90
    assert policy.cautions() == (
        "Sweat and water would be allowed after 60 minutes, before the adhesion wait of 90 minutes is over; "
        "patients are told 90 minutes.",
    )


def test_equal_waits_are_no_caution() -> None:
    policy = Policy(adhesion_minutes=60)
    assert (policy.water_wait_minutes, policy.cautions()) == (60, ())


def test_the_longer_wait_before_water_is_the_usual_one() -> None:
    assert Policy().water_wait_minutes == 60


@pytest.mark.parametrize(
    ("rule", "name", "key"),
    [
        (adhesion_ends, "minutes", "adhesion_minutes"),
        (water_ends, "minutes", "water_minutes"),
        (skin_rest_ends, "hours", "skin_rest_hours"),
        (wear_window, "first_day", "first_day"),
        (wear_window, "last_day", "last_day"),
    ],
)
def test_the_rules_take_the_same_numbers_by_themselves(rule: Callable[..., object], name: str, key: str) -> None:
    assert inspect.signature(rule).parameters[name].default == BOUNDS[key].default


def test_a_number_within_its_limits_is_handed_back() -> None:
    bounds = Bounds("k", "the wait", "minutes", 1, 3, 2, "common practice, no source")
    assert [bounds.check(value) for value in (1, 2, 3)] == [1, 2, 3]
    with pytest.raises(OutOfBoundsError, match="the wait is 4; it takes a whole number of minutes from 1 to 3"):
        bounds.check(4)
