"""A length is read in the clinic's unit and shown back as it will be read again."""

import pytest
from django.core.exceptions import ValidationError

from taping.forms.lengths import LONGEST_MM, LengthField
from taping.rules.lengths import Unit


@pytest.mark.parametrize(
    ("unit", "typed", "length"),
    [
        (Unit.CM, "30", 300.0),
        (Unit.CM, "30,5", 305.0),
        (Unit.CM, " 300 mm ", 300.0),
        (Unit.INCH, "12", 304.8),  # 25.4 mm to the inch: NIST SP 811, appendix B
        (Unit.INCH, "4 3/8", 111.125),
        (Unit.INCH, "30 cm", 300.0),
    ],
)
def test_typed_lengths(unit: Unit, typed: str, length: float) -> None:
    assert LengthField(unit=unit).clean(typed) == pytest.approx(length)


@pytest.mark.parametrize("typed", ["twelve", "0", "-3", "12.5.1", "3 feet", "1e3", "∞", "12\x00"])
@pytest.mark.parametrize("unit", [Unit.CM, Unit.INCH])
def test_what_is_no_length(unit: Unit, typed: str) -> None:
    with pytest.raises(ValidationError):
        LengthField(unit=unit).clean(typed)


def test_reason_is_a_sentence_that_says_what_would_work() -> None:
    with pytest.raises(ValidationError) as refused:
        LengthField(unit=Unit.CM).clean("twelve")
    assert refused.value.messages == ["'twelve' is not a length: write a length above 0, such as 12.5 or 4 3/8 in."]


def test_longest_length_is_still_taken() -> None:
    field = LengthField(unit=Unit.CM)
    assert field.clean("200") == LONGEST_MM
    with pytest.raises(ValidationError, match=r"200\.0 cm is the most"):
        field.clean("200.1")


def test_empty_is_nothing_where_that_is_allowed() -> None:
    assert LengthField(unit=Unit.CM, required=False).clean("  ") is None
    with pytest.raises(ValidationError):
        LengthField(unit=Unit.CM).clean("")


@pytest.mark.parametrize(("unit", "shown"), [(Unit.CM, "5.0 cm"), (Unit.INCH, "1 15/16 in")])
def test_stored_length_is_shown_with_its_unit(unit: Unit, shown: str) -> None:
    field = LengthField(unit=unit)
    assert field.prepare_value(50.0) == shown
    assert field.prepare_value("as typed") == "as typed"
    assert field.clean(shown) == pytest.approx(50.0, abs=0.8)
