"""Which strips are on, from what happened to them."""

import pytest

from taping.rules.strips_worn import strips_worn

OFF, BACK, TRIM = "strip_off", "strip_replaced", "edge_trimmed"


@pytest.mark.parametrize(
    ("changes", "worn"),
    [
        ([], (1, 2, 3)),
        ([(TRIM, 2)], (1, 2, 3)),
        ([(TRIM, None)], (1, 2, 3)),
        ([(OFF, 2)], (1, 3)),
        ([(OFF, 2), (TRIM, 2)], (1, 3)),
        ([(OFF, 2), (BACK, 2)], (1, 2, 3)),
        ([(BACK, 2)], (1, 2, 3)),
        ([(OFF, 2), (BACK, 2), (OFF, 2)], (1, 3)),
        ([(OFF, 1), (OFF, 2), (OFF, 3)], ()),
        ([(OFF, 9)], (1, 2, 3)),
    ],
)
def test_strips_that_are_on(changes: list[tuple[str, int | None]], worn: tuple[int, ...]) -> None:
    assert strips_worn((3, 1, 2), changes) == worn


def test_an_unknown_change_is_an_error() -> None:
    with pytest.raises(ValueError, match="torn"):
        strips_worn((1,), [("torn", 1)])
