"""Three readings of one piece: what cannot be is refused in plain words, what is unusual is told."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from taping.rules.amounts import BadNumberError
from taping.rules.lengths import Unit
from taping.rules.readings import ReadingError, check_readings, unusual_readings
from taping.rules.tape import Tape


@pytest.mark.parametrize(
    ("readings", "unit", "field", "words"),
    [
        (
            (100, 105, 140),
            Unit.CM,
            "relaxed",
            "10.5 cm relaxed is longer than 10.0 cm on the backing. Peeled tape never",
        ),
        ((110, 100, 100), Unit.CM, "full", "10.0 cm fully stretched is not longer than 11.0 cm before."),
        ((100, 100, 100), Unit.CM, "full", "10.0 cm fully stretched is not longer than 10.0 cm before."),
        ((254, 228.6, 203.2), Unit.INCH, "full", "8 in fully stretched is not longer than 10 in before."),
    ],
)
def test_impossible_readings_name_the_reading_and_what_to_do(
    readings: tuple[float, float, float], unit: Unit, field: str, words: str
) -> None:
    with pytest.raises(ReadingError) as refused:
        check_readings(*readings, unit)
    assert refused.value.field == field
    assert str(refused.value).startswith(words)


@given(st.floats(1, 500), st.floats(1, 500), st.floats(1, 500))
def test_what_is_refused_here_is_what_the_tape_refuses(paper: float, relaxed: float, full: float) -> None:
    try:
        Tape.measured(paper, relaxed, full)
    except BadNumberError:
        possible = False
    else:
        possible = True
    try:
        check_readings(paper, relaxed, full, Unit.CM)
    except ReadingError:
        assert not possible
    else:
        # A stretch too small for a number to hold is the tape's to refuse; no ruler reads it.
        assert possible or abs(full / relaxed - 1) < 1e-6


@pytest.mark.parametrize(
    ("readings", "found"),
    [
        ((220, 200, 280), []),  # 10 % and 40 %
        (
            (88, 80, 112),
            ["The piece was only 8.8 cm long: a slip of 0.1 cm counts for much. A piece of 20.0 cm is steadier."],
        ),
        (
            (250, 200, 300),
            [
                "25 % longer on its backing is unusual; published figures go from 0 to 15 %. Measure once "
                "more to be sure."
            ],
        ),
        (
            (210, 200, 240),
            [
                "Stretching by 20 % at the most is unusual; published figures go from 30 to 60 %. Measure "
                "once more to be sure."
            ],
        ),
    ],
)
def test_unusual_readings_are_told_and_not_refused(readings: tuple[float, float, float], found: list[str]) -> None:
    check_readings(*readings, Unit.CM)
    assert list(unusual_readings(readings[0], Tape.measured(*readings), Unit.CM)) == found
