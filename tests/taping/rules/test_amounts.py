"""Numbers a rule refuses, and how numbers are read aloud."""

import pytest

from taping.rules.amounts import BadNumberError, in_mm, in_percent, not_negative, number, positive

NAN, INF = float("nan"), float("inf")


@pytest.mark.parametrize("value", ["12", None, [], 1j, b"1", True, False])
def test_what_is_no_number_is_refused_with_an_example(value: object) -> None:
    with pytest.raises(BadNumberError, match=r"the span is .*: it takes a number, such as 0.5 or 300"):
        number(value, "the span")


def test_a_whole_number_counts_as_a_length() -> None:
    assert (number(3, "the span"), type(number(3, "the span"))) == (3.0, float)


def test_a_whole_number_no_float_can_hold_is_refused() -> None:
    with pytest.raises(BadNumberError, match="the span is too large a number"):
        number(10**400, "the span")


@pytest.mark.parametrize("value", [0, -0.0, -1, NAN, INF, -INF, 9e-7, 5e-324, 1.001e12])
def test_a_length_has_to_be_above_nothing_and_not_beyond_measure(value: float) -> None:
    with pytest.raises(BadNumberError, match=r"the span is .*: it takes a number above 0"):
        positive(value, "the span")


@pytest.mark.parametrize("value", [1e-6, 0.5, 1, 1e12])
def test_every_length_above_nothing_is_taken(value: float) -> None:
    assert positive(value, "the span") == value


@pytest.mark.parametrize("value", [-1e-9, -1, NAN, INF, -INF])
def test_a_share_is_not_below_nothing(value: float) -> None:
    with pytest.raises(BadNumberError, match="it takes 0 or a number above 0"):
        not_negative(value, "the share")


def test_nothing_is_a_share() -> None:
    assert not_negative(0, "the share") == 0.0


@pytest.mark.parametrize(("amount", "said"), [(286.0, "286"), (285.97, "286"), (12.34, "12.3"), (10.0, "10")])
def test_millimetres_are_read_to_a_tenth_without_an_empty_decimal(amount: float, said: str) -> None:
    assert in_mm(amount) == said


@pytest.mark.parametrize(("share", "said"), [(0.25, "25"), (0.625, "62.5"), (0.7512, "75.1"), (1.0, "100")])
def test_percent_keep_a_tenth_only_where_there_is_one(share: float, said: str) -> None:
    assert in_percent(share) == said
