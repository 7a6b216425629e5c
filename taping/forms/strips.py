"""One strip as a form; its clean answer is the strip with its cut."""

from typing import Any

from django import forms

from clinic.forms.fields import sentence
from taping.forms.lengths import LengthField
from taping.models import Strip, StripPlan, TapeRoll
from taping.rules.amounts import BadNumberError
from taping.rules.cut import USUAL_ANCHORS, Cut, ImpossibleCut, cut_for_stretch, cut_of_length, share_range
from taping.rules.lengths import MM_PER_INCH, Unit
from taping.rules.places import places_in
from taping.rules.shape_kinds import SHAPES, ShapeKind
from taping.rules.shapes import UnfitShapeError, shape_for
from taping.rules.technique import Direction, Start, Technique
from taping.services.strips import StripValues, tape_of

BY_TENSION, BY_PAPER = "tension", "paper"
SAME_CUT_MM = 0.05
"""Two cuts that no ruler tells apart."""
START_WORDS = {Start.ONE_END: "One end first", Start.CENTRE: "The middle first"}
DIRECTION_WORDS = {
    Direction.TOWARDS_ORIGIN: "Towards the origin (inhibit)",
    Direction.TOWARDS_INSERTION: "Towards the insertion (facilitate)",
    Direction.AWAY_FROM_TRUNK: "Base nearer the trunk, tails away from it",
    Direction.NONE: "None: middle outwards",
}
UNIT_WORDS = {Unit.CM: "centimetres", Unit.INCH: "inches"}
# A round number near the rules' usual anchor, so that nobody has to read 1 15/16 inches off a ruler.
ANCHOR_MM = {Unit.CM: USUAL_ANCHORS[0], Unit.INCH: 2 * MM_PER_INCH}


class TensionField(forms.DecimalField):
    """Per cent, with a decimal comma or point as lengths take them, and with or without the sign behind it."""

    def to_python(self, value: Any) -> Any:
        return super().to_python(value.strip().removesuffix("%").strip().replace(",", ".") if value else value)


class StripForm(forms.Form):
    """Shape, place, span and tension, or a piece that is cut already. Lengths are in the clinic's unit."""

    shape = forms.ChoiceField(
        label="Shape", choices=[(kind.value, info.label) for kind, info in SHAPES.items()], widget=forms.RadioSelect
    )
    by = forms.ChoiceField(
        label="Reckon from",
        choices=[(BY_TENSION, "the tension wanted"), (BY_PAPER, "a piece I have already cut")],
        widget=forms.RadioSelect,
        error_messages={"required": "Say whether the tension is wanted or the piece is cut already."},
    )
    tension = TensionField(
        label="Tension, % of what this tape can give",
        min_value=0,
        max_value=100,
        max_digits=4,
        decimal_places=1,
        required=False,
        error_messages={
            "min_value": "Give a tension from 0 to 100 %%.",
            "max_value": "Give a tension from 0 to 100 %%: 100 is as far as the tape goes.",
            "invalid": "Give the tension as a number from 0 to 100.",
        },
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off", "dir": "ltr"}),
    )
    start = forms.ChoiceField(
        label="Lay first", choices=[(key.value, word) for key, word in START_WORDS.items()], widget=forms.RadioSelect
    )
    direction = forms.ChoiceField(
        label="Direction", choices=[(key.value, word) for key, word in DIRECTION_WORDS.items()]
    )
    tails = forms.IntegerField(
        label="Tails",
        required=False,
        min_value=1,
        max_value=8,
        help_text="Only for a fan or a web; empty for the usual number.",
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off", "dir": "ltr"}),
        error_messages={
            "invalid": "Give the number of tails as a whole number.",
            "min_value": "Give a number of tails from 1 to 8.",
            "max_value": "Give a number of tails from 1 to 8.",
        },
    )
    off_paper = forms.BooleanField(label="The anchors go on straight off the paper, not relaxed first", required=False)

    field_order = [
        "span", "by", "tension", "paper", "shape", "tails", "place", "start", "direction",
        "anchor_first", "anchor_last", "roll", "off_paper",
    ]  # fmt: skip

    def __init__(self, *args: Any, plan: StripPlan, unit: Unit, rolls: list[TapeRoll], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.unit = unit
        self.rolls = {str(roll.pk): roll for roll in rolls}
        self.fields["span"] = LengthField(
            unit=unit,
            label="Span",
            error_messages={"required": "Measure the span along the path of the tape and write it here."},
            help_text=f"In {UNIT_WORDS[unit]}. With a flexible measure along the path, in the posture of taping.",
        )
        self.fields["paper"] = LengthField(unit=unit, label="Length of the piece on its backing", required=False)
        for name, label in (("anchor_first", "First anchor"), ("anchor_last", "Last anchor")):
            self.fields[name] = LengthField(
                unit=unit, label=label, error_messages={"required": "An anchor has a length."}
            )
        places = [(place.key, f"{place.plain} ({place.clinical})") for place in places_in(plan.screen.region)]
        self.fields["place"] = forms.ChoiceField(
            label="Along", choices=[("", "no muscle in particular"), *places], required=False
        )
        named = [
            (str(roll.pk), str(roll) if roll.measured_at else f"{roll} (not measured yet: rough)") for roll in rolls
        ]
        self.fields["roll"] = forms.ChoiceField(
            label="Tape", choices=[*named, ("", "another roll, never measured: rough")], required=False
        )
        self.order_fields(self.field_order)

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        wanted, hidden = ("paper", "tension") if cleaned.get("by") == BY_PAPER else ("tension", "paper")
        # What the page hides says nothing: an error there would be one that nobody can see.
        if hidden in self.errors:
            del self.errors[hidden]
        if "by" in cleaned and cleaned.get(wanted) is None and wanted not in self.errors:
            words = "Measure the piece and write its length here." if wanted == "paper" else "Give the tension wanted."
            self.add_error(wanted, words)
        if not self.errors:
            self._reckon(cleaned, wanted)
        return cleaned

    def _reckon(self, cleaned: dict[str, Any], wanted: str) -> None:
        try:
            values = StripValues(
                shape=ShapeKind(cleaned["shape"]),
                start=Start(cleaned["start"]),
                direction=Direction(cleaned["direction"]),
                cut=self._cut(cleaned),
                place=cleaned["place"],
                tails=cleaned["tails"],
                roll=self.rolls.get(cleaned["roll"]),
                off_paper=cleaned["off_paper"],
            )
            shape_for(values.shape, values.cut, values.tape, tails=values.tails)
            share_range(values.cut, values.tape)
        except ImpossibleCut as impossible:
            field = "paper" if wanted == "paper" and "piece" in impossible.reason else "span"
            self.add_error(field, impossible.in_unit(self.unit))
        except UnfitShapeError as unfit:
            self.add_error("tails" if cleaned["tails"] else "shape", sentence(unfit.in_unit(self.unit)))
        except BadNumberError:
            self.add_error("span", "That is shorter than a hand can measure. Measure again, and check the unit.")
        else:
            cleaned["values"] = values

    def _cut(self, cleaned: dict[str, Any]) -> Cut:
        tape, anchors = tape_of(self.rolls.get(cleaned["roll"])), (cleaned["anchor_first"], cleaned["anchor_last"])
        if cleaned["by"] == BY_PAPER:
            return cut_of_length(cleaned["span"], cleaned["paper"], tape, anchors, off_paper=cleaned["off_paper"])
        share = float(cleaned["tension"]) / 100
        return cut_for_stretch(cleaned["span"], share, tape, anchors, off_paper=cleaned["off_paper"])

    @property
    def worked(self) -> StripValues | None:
        """The strip as far as it could be reckoned: also where it was refused afterwards; None where it could not."""
        if not self.is_bound:
            return None
        self.is_valid()
        return self.cleaned_data.get("values")

    @property
    def values(self) -> StripValues:
        """The strip of a valid form."""
        values: StripValues = self.cleaned_data["values"]
        return values


def initial_for(technique: Technique, unit: Unit, rolls: list[TapeRoll]) -> dict[str, Any]:
    """What the form begins with: what is taught for the goal, at the lower end of its tension, on the first roll."""
    return {
        "shape": technique.shapes[0].kind.value,
        "start": technique.start.value,
        "direction": technique.direction.value,
        "by": BY_TENSION,
        "tension": f"{technique.low * 100:g}",
        "anchor_first": ANCHOR_MM[unit],
        "anchor_last": ANCHOR_MM[unit],
        "roll": str(rolls[0].pk) if rolls else "",
    }


def initial_of(strip: Strip) -> dict[str, Any]:
    """What the form begins with to change a strip: as it is in the plan."""
    anchors = (strip.anchor_first_mm, strip.anchor_last_mm)
    tension = round(strip.share * 100, 1)
    begin = {
        "span": strip.span_mm,
        "shape": strip.shape,
        "start": strip.start,
        "direction": strip.direction,
        "place": strip.place,
        "tails": strip.tails if SHAPES[ShapeKind(strip.shape)].fewest_tails > 1 else None,
        "anchor_first": strip.anchor_first_mm,
        "anchor_last": strip.anchor_last_mm,
        "roll": str(strip.roll_id or ""),
        "off_paper": strip.off_paper,
    }
    try:
        cut = cut_for_stretch(strip.span_mm, tension / 100, tape_of(strip.roll), anchors, off_paper=strip.off_paper)
    except (ImpossibleCut, BadNumberError):
        return {**begin, "by": BY_PAPER, "paper": strip.paper_mm}
    if abs(cut.paper_mm - strip.paper_mm) > SAME_CUT_MM:
        return {**begin, "by": BY_PAPER, "paper": strip.paper_mm}
    return {**begin, "by": BY_TENSION, "tension": f"{tension:g}"}
