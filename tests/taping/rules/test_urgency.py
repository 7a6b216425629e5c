"""The order of urgencies."""

import pytest

from taping.rules.urgency import Urgency, most_urgent


def test_the_levels_rise_from_none_to_emergency() -> None:
    assert [(level.value, level.rank) for level in Urgency] == [
        *(("none", 0), ("watch", 1), ("soon", 2), ("today", 3), ("emergency", 4)),
    ]


@pytest.mark.parametrize(
    ("levels", "gravest"),
    [((), "none"), (("watch", "none"), "watch"), (("soon", "emergency", "today"), "emergency"), (("soon",), "soon")],
)
def test_the_gravest_counts(levels: tuple[str, ...], gravest: str) -> None:
    assert most_urgent(*(Urgency(level) for level in levels)) is Urgency(gravest)
