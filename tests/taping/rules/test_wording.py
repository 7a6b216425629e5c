"""Sentences take the reader's unit, and a bound is rounded to its safe side in every unit."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from taping.rules.cut import ImpossibleCut, cut_by_fraction, cut_for_stretch, cut_of_length
from taping.rules.cut_reading import reasons_for
from taping.rules.lengths import MM_PER_INCH, Unit, parse_length
from taping.rules.shape_kinds import ShapeKind
from taping.rules.shapes import UnfitShapeError, shape_for
from taping.rules.tape import Tape
from taping.rules.wording import Bound, Length, as_sentence, sentence, sum_number, unit_word

TAPE = Tape()


@pytest.mark.parametrize(
    ("length", "unit", "words"),
    [
        (Length(123.44), Unit.MM, "123.4 mm"),
        (Length(123.44), Unit.CM, "12.3 cm"),
        (Length(50.8), Unit.INCH, "2 in"),
        (Length(267.14, Bound.AT_LEAST), Unit.MM, "268 mm"),
        (Length(267.14, Bound.AT_LEAST), Unit.CM, "26.8 cm"),
        (Length(267.14, Bound.AT_LEAST), Unit.INCH, "10 9/16 in"),  # 10.517 inches; the next sixteenth is 10.5625
        (Length(267.14, Bound.AT_MOST), Unit.INCH, "10 1/2 in"),
        (Length(330.0, Bound.AT_MOST), Unit.CM, "33.0 cm"),
    ],
)
def test_length_is_said_in_the_unit(length: Length, unit: Unit, words: str) -> None:
    assert length.in_unit(unit) == words


@given(st.floats(1, 5000), st.sampled_from([Unit.CM, Unit.INCH]))
def test_bounds_never_round_to_the_wrong_side(mm: float, unit: Unit) -> None:
    """A piece cut to what the page says is long enough, or short enough, within a millionth of a millimetre."""
    least = parse_length(Length(mm, Bound.AT_LEAST).in_unit(unit), unit)
    assert mm - 1e-5 <= least < mm + MM_PER_INCH / 16 + 1
    most = parse_length(Length(mm + 2, Bound.AT_MOST).in_unit(unit), unit)
    assert mm + 2 - MM_PER_INCH / 16 - 1 < most <= mm + 2 + 1e-5


@given(st.floats(150, 600), st.sampled_from([Unit.CM, Unit.INCH]))
def test_the_longest_piece_that_a_caution_names_is_not_loose(span: float, unit: Unit) -> None:
    loose = cut_of_length(span, span * 1.3, TAPE)
    words = next(one for one in loose.cautions if one.key == "loose_tape").in_unit(unit).text
    named = words.rpartition("at most ")[2].partition(" for")[0]
    assert cut_of_length(span, parse_length(named, unit), TAPE).share >= 0


@pytest.mark.parametrize(
    ("unit", "words"),
    [
        (Unit.MM, "Short stretch zone: 50 mm between the anchors, under 100 mm. A slip of 5 mm in measuring"),
        (Unit.CM, "Short stretch zone: 5.0 cm between the anchors, under 10.0 cm. A slip of 0.5 cm in measuring"),
        (Unit.INCH, "Short stretch zone: 1 15/16 in between the anchors, under 3 15/16 in. A slip of 3/16 in in"),
    ],
)
def test_caution_speaks_the_unit_of_the_clinic(unit: Unit, words: str) -> None:
    found = cut_for_stretch(150, 0.2, TAPE).cautions[0]
    assert found.in_unit(unit).text.startswith(words)
    assert found.in_unit(unit).key == "short_zone"


def test_caution_without_lengths_is_the_same_in_every_unit() -> None:
    strong = cut_for_stretch(400, 0.9, TAPE).cautions[0]
    assert strong.in_unit(Unit.INCH) == strong


def test_refusals_speak_the_unit_too() -> None:
    with pytest.raises(ImpossibleCut) as refused:
        cut_for_stretch(80, 0.2, TAPE)
    assert "span of 8.0 cm. Use anchors that are together shorter than 8.0 cm" in refused.value.in_unit(Unit.CM)
    with pytest.raises(ImpossibleCut) as short:
        cut_by_fraction(120, TAPE)
    assert (
        short.value.reason_in(Unit.CM)
        == "A piece of 10.0 cm on the backing is not longer than its anchors (11.0 cm of it)."
    )
    with pytest.raises(UnfitShapeError) as unfit:
        shape_for(ShapeKind.FAN, cut_for_stretch(300, 0.1, TAPE), TAPE, tails=8)
    assert "a tape 1 15/16 in wide are 1/4 in each" in unfit.value.in_unit(Unit.INCH)


def test_words_alone_are_a_sentence_too() -> None:
    assert as_sentence("as {it} is").in_unit(Unit.CM) == "as {it} is"
    kept = sentence("{a} long", a=Length(20))
    assert as_sentence(kept) is kept


def test_sums_are_written_in_decimals_of_the_unit() -> None:
    cut = cut_for_stretch(304.8, 0.25, TAPE, (50.8, 50.8))
    assert reasons_for(cut, TAPE, Unit.INCH)[0] == "Stretch zone: 12 - 2 - 2 = 8 in between the anchors."
    assert reasons_for(cut, TAPE, Unit.CM)[0] == "Stretch zone: 30.48 - 5.08 - 5.08 = 20.32 cm between the anchors."
    assert (sum_number(304.84, Unit.MM), unit_word(Unit.INCH), unit_word(Unit.CM)) == ("304.8", "in", "cm")
