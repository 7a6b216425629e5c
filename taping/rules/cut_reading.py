"""A cut explained: the sums that made it, as a therapist would do them on paper."""

from taping.rules.amounts import in_percent
from taping.rules.cut import Cut, Pair
from taping.rules.lengths import Unit
from taping.rules.tape import Tape
from taping.rules.wording import sum_number, unit_word


def reasons_for(cut: Cut, tape: Tape, unit: Unit = Unit.MM) -> tuple[str, ...]:
    """Return the steps from the span to the tension (lengths in ``unit``), each with its numbers and its rule."""
    return (
        _zone(cut, unit),
        _relaxed(cut, tape, unit),
        _paper(cut, tape, unit),
        _tension(cut, tape),
        _tearing(cut, unit),
    )


def anchors_off_paper(cut: Cut) -> bool:
    """Tell whether the anchors keep the stretch of the backing (also true where the tape has none on it)."""
    return cut.tear_marks_mm == cut.anchors_mm


def _zone(cut: Cut, unit: Unit) -> str:
    span, zone = sum_number(cut.span_mm, unit), sum_number(cut.zone_mm, unit)
    first, last = _two(cut.anchors_mm, unit)
    return f"Stretch zone: {span} - {first} - {last} = {zone} {unit_word(unit)} between the anchors."


def _relaxed(cut: Cut, tape: Tape, unit: Unit) -> str:
    peel = f"{1 + tape.pre_stretch:.5g}"
    relaxed = f"{sum_number(cut.relaxed_mm, unit)} {unit_word(unit)}"
    if anchors_off_paper(cut):
        return f"Relaxed length: {sum_number(cut.paper_mm, unit)} / {peel} = {relaxed}."
    first, last = _two(cut.anchors_mm, unit)
    zone = f"{sum_number(cut.zone_mm, unit)} / {1 + cut.stretch:.5g}"
    return f"Relaxed length: {first} + {last} + {zone} = {relaxed}; the anchors have no stretch."


def _paper(cut: Cut, tape: Tape, unit: Unit) -> str:
    peel, backing = f"{1 + tape.pre_stretch:.5g}", f"this tape lies on its backing stretched by {_pre(tape)}"
    total = f"{sum_number(cut.paper_mm, unit)} {unit_word(unit)}, {cut.squares:.1f} squares"
    if anchors_off_paper(cut):
        first, last = _two(cut.anchors_mm, unit)
        zone = f"{peel} x {sum_number(cut.zone_mm, unit)} / {1 + cut.stretch:.5g}"
        return f"Paper length: {first} + {last} + {zone} = {total}; {backing}, and the anchors keep that."
    return f"Paper length: {sum_number(cut.relaxed_mm, unit)} x {peel} = {total}; {backing}."


def _two(lengths: Pair, unit: Unit) -> tuple[str, str]:
    return sum_number(lengths[0], unit), sum_number(lengths[1], unit)


def _pre(tape: Tape) -> str:
    return f"{in_percent(tape.pre_stretch)} %"


def _tension(cut: Cut, tape: Tape) -> str:
    if cut.stretch < 0:
        return f"Tension: none; the zone is shorter than the tape laid in it, by {in_percent(-cut.stretch)} %."
    name = f": {cut.band.name}" if cut.band else ", more than it has"
    shares = f"{in_percent(cut.share)} % of the {in_percent(tape.limit)} % this tape can give{name}"
    return f"Tension: the zone is {in_percent(cut.stretch)} % longer than relaxed, which is {shares}."


def _tearing(cut: Cut, unit: Unit) -> str:
    first, last = _two(cut.tear_marks_mm, unit)
    return f"Tear the backing {first} {unit_word(unit)} from the first end and {last} {unit_word(unit)} from the last."
