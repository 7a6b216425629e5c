"""A roll of tape as it is entered, and the three readings that measure it."""

from typing import Any

from django import forms

from clinic.forms.fields import LineField
from taping.forms.lengths import LengthField
from taping.models import TapeRoll
from taping.rules.lengths import MM_PER_INCH, Unit

SIZE_MM = {Unit.CM: 50.0, Unit.INCH: 2 * MM_PER_INCH}
"""What most tape is wide, and how far apart its printed lines are; common practice, no source."""


class RollForm(forms.Form):
    """Name, colour and lot of a roll; width and printed squares where they are not the usual ones."""

    name = LineField(
        label="What you call this tape",
        longest=80,
        help_text="A name of your own, such as: skin-colour, wide.",
        error_messages={"required": "Give the tape a name."},
    )
    colour = LineField(label="Colour", longest=40, required=False)
    lot = LineField(label="Lot", longest=40, required=False, help_text="As printed on the box. Lots differ.")

    def __init__(self, *args: Any, unit: Unit, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        size = SIZE_MM[unit]
        for name, label in (("width", "Width of the tape"), ("square", "Length of a printed square")):
            self.fields[name] = LengthField(
                unit=unit, label=label, initial=size, error_messages={"required": "Give a length."}
            )

    def roll(self) -> TapeRoll:
        """The unsaved roll of a valid form."""
        told = self.cleaned_data
        return TapeRoll(
            name=told["name"],
            colour=told["colour"],
            lot=told["lot"],
            width_mm=told["width"],
            square_mm=told["square"],
        )


class ReadingsForm(forms.Form):
    """Three lengths of one piece."""

    NAMES = (
        ("paper", "1. On the backing", "The piece as it is cut off the roll, on its paper."),
        ("relaxed", "2. Relaxed", "The same piece peeled off, laid down and left alone for a moment."),
        ("full", "3. Fully stretched", "The same piece pulled until it gives no more, read while it is held."),
    )

    def __init__(self, *args: Any, unit: Unit, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, label, hint in self.NAMES:
            self.fields[name] = LengthField(
                unit=unit, label=label, help_text=hint, error_messages={"required": "Measure, and write it here."}
            )

    @property
    def readings(self) -> tuple[float, float, float]:
        """In millimetres, of a valid form."""
        told = self.cleaned_data
        return told["paper"], told["relaxed"], told["full"]
