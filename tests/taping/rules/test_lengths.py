"""Lengths as the clinic writes and types them."""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from taping.rules.amounts import BadNumberError
from taping.rules.lengths import Unit, UnreadableLengthError, format_length, parse_length, strips_per_roll

MM, CM, INCH = Unit.MM, Unit.CM, Unit.INCH


# NIST Special Publication 811, appendix B: 1 in is 25.4 mm, exactly; 1 cm is 10 mm.
@pytest.mark.parametrize(
    ("typed", "millimetres"),
    [("1 in", 25.4), ("10 in", 254.0), ("1 cm", 10.0), ("1 mm", 1.0), ("16 1/2 in", 419.1), ("1/16 in", 1.5875)],
)
def test_units_against_nist_sp_811(typed: str, millimetres: float) -> None:
    assert parse_length(typed, MM) == pytest.approx(millimetres, abs=1e-9)


# Computed with fractions: each sixteenth of an inch, in lowest terms.
@pytest.mark.parametrize("sixteenths", range(1, 49))
def test_sixteenths_against_exact_fractions(sixteenths: int) -> None:
    whole, rest = divmod(Fraction(sixteenths, 16), 1)
    parts = [str(whole)] if whole else []
    parts += [f"{rest.numerator}/{rest.denominator}"] if rest else []

    assert format_length(sixteenths * 25.4 / 16, INCH) == " ".join(parts) + " in"


@pytest.mark.parametrize(
    ("length", "unit", "written"),
    [
        (286.0, MM, "286 mm"),
        (285.5, MM, "286 mm"),
        (285.4, MM, "285 mm"),
        (0, MM, "0 mm"),
        (286.0, CM, "28.6 cm"),
        (300.0, CM, "30.0 cm"),
        (4.0, CM, "0.4 cm"),
        (99.96, CM, "10.0 cm"),
        (286.0, INCH, "11 1/4 in"),
        (254.0, INCH, "10 in"),
        (0, INCH, "0 in"),
        (0.8, INCH, "1/16 in"),
        (0.7, INCH, "0 in"),
        (25.3, INCH, "1 in"),
        (24.6, INCH, "15/16 in"),
    ],
)
def test_lengths_are_written_as_the_clinic_works(length: float, unit: Unit, written: str) -> None:
    assert format_length(length, unit) == written


# Decided here: half way the longer one, because a longer piece pulls less.
def test_half_way_the_longer_length_is_written() -> None:
    assert [format_length(length, MM) for length in (0.5, 1.5, 2.5)] == ["1 mm", "2 mm", "3 mm"]
    assert format_length(25.4 / 32 * 9, INCH) == "5/16 in"
    assert format_length(0.5 - 1e-12, MM) == "1 mm"


@pytest.mark.parametrize("bad", [-1.0, float("nan"), float("inf"), "12", True])
def test_a_length_that_is_none_is_not_written(bad: float) -> None:
    with pytest.raises(BadNumberError, match="the length is"):
        format_length(bad, MM)


@pytest.mark.parametrize(
    ("typed", "unit", "millimetres"),
    [
        ("12", MM, 12.0),
        ("12", CM, 120.0),
        ("12", INCH, 304.8),
        ("12.5 cm", INCH, 125.0),
        ("12,5 cm", MM, 125.0),
        ("120mm", INCH, 120.0),
        ("120 MM", INCH, 120.0),
        ("12 centimetres", MM, 120.0),
        ("12 centimeter", MM, 120.0),
        ("5 inches", CM, 127.0),
        ("5 in.", CM, 127.0),
        ('5"', CM, 127.0),
        ("5''", CM, 127.0),
        ("5″", CM, 127.0),
        ("5”", CM, 127.0),
        ("5’’", CM, 127.0),
        ("5 ′′", CM, 127.0),
        (".5 cm", MM, 5.0),
        ("4 3/8 in", CM, 111.125),
        ("4-3/8", INCH, 111.125),
        ("3/8", INCH, 9.525),
        ("4½", INCH, 114.3),
        ("4 ½ in", CM, 114.3),
        ("½ in", CM, 12.7),
        ("3⁄4 in", CM, 19.05),
        ("  12  ", MM, 12.0),
        ("１２ mm", CM, 12.0),
        ("12\u00a0cm", MM, 120.0),
        ("1,2345 cm", MM, 12.345),
        ("1.250 cm", MM, 12.5),
        ("99999", MM, 99999.0),
    ],
)
def test_what_a_therapist_types_is_read(typed: str, unit: Unit, millimetres: float) -> None:
    assert parse_length(typed, unit) == pytest.approx(millimetres, abs=1e-9)


@pytest.mark.parametrize(
    "typed",
    [
        "",
        " ",
        "twelve",
        "-5",
        "+5",
        "1e3",
        "nan",
        "inf",
        "5 5",
        "5.",
        "1/2/3",
        "4 3",
        "0x10",
        "1 1/2 1/2",
        "٣",
        "123456",
        "cm",
        "5'",
        "5 .",
    ],
)
def test_what_is_no_length_is_refused_with_one_that_is(typed: str) -> None:
    with pytest.raises(UnreadableLengthError) as refused:
        parse_length(typed, CM)
    assert str(refused.value) == f"{typed!r} is not a length: write a length above 0, such as 12.5 or 4 3/8 in"


@pytest.mark.parametrize(
    ("typed", "unit", "why"),
    [
        ("0", MM, "'0' is no length at all"),
        ("0/4", INCH, "'0/4' is no length at all"),
        ("0.0 cm", MM, "'0.0 cm' is no length at all"),
        ("5 ft", INCH, "'5 ft' is in no unit known here (mm, cm, in)"),
        ("1,250", MM, "'1,250' can be read in two ways, with its comma"),
        ("3/8 cm", MM, "'3/8 cm' has a fraction, which is read in inches only"),
        ("3/8", CM, "'3/8' has a fraction, which is read in inches only"),
        ("4 9/8", INCH, "'4 9/8' has a fraction that is not below one"),
        ("4 8/8", INCH, "'4 8/8' has a fraction that is not below one"),
        ("1/0", INCH, "'1/0' has a fraction that is not below one"),
    ],
)
def test_a_slip_is_refused_with_its_reason(typed: str, unit: Unit, why: str) -> None:
    examples = {MM: "120 or 12.5 cm", CM: "12.5 or 4 3/8 in", INCH: "4 3/8 or 12.5 cm"}

    with pytest.raises(UnreadableLengthError) as refused:
        parse_length(typed, unit)
    assert str(refused.value) == f"{why}: write a length above 0, such as {examples[unit]}"


def test_a_very_long_text_is_refused_and_not_repeated_whole() -> None:
    with pytest.raises(UnreadableLengthError) as refused:
        parse_length("1" + " " * 29 + "2", MM)
    assert str(refused.value).startswith(f"{'1' + ' ' * 29!r} is not a length")
    assert parse_length("1" + " " * 29, MM) == 1.0


@settings(max_examples=1000)
@given(st.integers(1, 5000 * 16), st.sampled_from(Unit))
def test_what_is_written_is_read_back(steps: int, unit: Unit) -> None:
    length = steps * 25.4 / 16 if unit is INCH else float(steps)

    assert parse_length(format_length(length, unit), MM) == pytest.approx(length, abs=1e-9)


@settings(max_examples=1000)
@given(st.text(max_size=40), st.sampled_from(Unit))
def test_whatever_is_typed_it_is_a_length_or_refused(typed: str, unit: Unit) -> None:
    try:
        length = parse_length(typed, unit)
    except UnreadableLengthError:
        return
    assert 0 < length < 99_999 * 25.5


# Computed: floor(roll / piece); a 5 m roll.
@pytest.mark.parametrize(
    ("paper", "strips", "left"),
    [
        (286.0, 17, 138.0),
        (300.0, 16, 200.0),
        (183.3, 27, 50.9),
        (250.0, 20, 0.0),
        (5000.0, 1, 0.0),
        (5001.0, 0, 5000.0),
        (0.1, 50000, 0.0),
        (50.0, 100, 0.0),
        (50.8, 98, 21.6),
    ],
)
def test_strips_per_roll_against_the_worked_table(paper: float, strips: int, left: float) -> None:
    count, rest = strips_per_roll(paper, 5000.0)

    assert count == strips
    assert rest == pytest.approx(left, abs=1e-6)


def test_the_last_strip_is_not_lost_to_the_last_bits() -> None:
    assert strips_per_roll(0.3 / 3, 0.3)[0] == 3
    assert strips_per_roll(100 / 3, 99.99999999999999) == (3, 0.0)


@pytest.mark.parametrize("bad", [0, -1, float("nan"), float("inf")])
def test_a_roll_or_piece_without_length_gives_no_strips(bad: float) -> None:
    with pytest.raises(BadNumberError, match="the paper length is"):
        strips_per_roll(bad, 5000)
    with pytest.raises(BadNumberError, match="the length of the roll is"):
        strips_per_roll(250, bad)
