"""A cut explained: the sums that made it, as a therapist would do them on paper."""

from taping.rules.amounts import in_mm, in_percent
from taping.rules.cut import Cut
from taping.rules.tape import Tape


def reasons_for(cut: Cut, tape: Tape) -> tuple[str, ...]:
    """Return the steps from the span to the tension (lengths in millimetres), each with its numbers and its rule."""
    return (_zone(cut), _relaxed(cut, tape), _paper(cut, tape), _tension(cut, tape), _tearing(cut))


def anchors_off_paper(cut: Cut) -> bool:
    """Tell whether the anchors keep the stretch of the backing (also true where the tape has none on it)."""
    return cut.tear_marks_mm == cut.anchors_mm


def _zone(cut: Cut) -> str:
    first, last = (in_mm(anchor) for anchor in cut.anchors_mm)
    return f"Stretch zone: {in_mm(cut.span_mm)} - {first} - {last} = {in_mm(cut.zone_mm)} mm between the anchors."


def _relaxed(cut: Cut, tape: Tape) -> str:
    peel = f"{1 + tape.pre_stretch:.5g}"
    if anchors_off_paper(cut):
        return f"Relaxed length: {in_mm(cut.paper_mm)} / {peel} = {in_mm(cut.relaxed_mm)} mm."
    first, last = (in_mm(anchor) for anchor in cut.anchors_mm)
    zone = f"{in_mm(cut.zone_mm)} / {1 + cut.stretch:.5g}"
    return f"Relaxed length: {first} + {last} + {zone} = {in_mm(cut.relaxed_mm)} mm; the anchors have no stretch."


def _paper(cut: Cut, tape: Tape) -> str:
    peel, backing = f"{1 + tape.pre_stretch:.5g}", f"this tape lies on its backing stretched by {_pre(tape)}"
    total = f"{in_mm(cut.paper_mm)} mm, {cut.squares:.1f} squares"
    if anchors_off_paper(cut):
        first, last = (in_mm(anchor) for anchor in cut.anchors_mm)
        zone = f"{peel} x {in_mm(cut.zone_mm)} / {1 + cut.stretch:.5g}"
        return f"Paper length: {first} + {last} + {zone} = {total}; {backing}, and the anchors keep that."
    return f"Paper length: {in_mm(cut.relaxed_mm)} x {peel} = {total}; {backing}."


def _pre(tape: Tape) -> str:
    return f"{in_percent(tape.pre_stretch)} %"


def _tension(cut: Cut, tape: Tape) -> str:
    if cut.stretch < 0:
        return f"Tension: none; the zone is shorter than the tape laid in it, by {in_percent(-cut.stretch)} %."
    name = f": {cut.band.name}" if cut.band else ", more than it has"
    shares = f"{in_percent(cut.share)} % of the {in_percent(tape.limit)} % this tape can give{name}"
    return f"Tension: the zone is {in_percent(cut.stretch)} % longer than relaxed, which is {shares}."


def _tearing(cut: Cut) -> str:
    first, last = (in_mm(mark) for mark in cut.tear_marks_mm)
    return f"Tear the backing {first} mm from the first end and {last} mm from the last."
