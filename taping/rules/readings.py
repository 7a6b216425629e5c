"""Three ruler readings of one piece of tape, and what is wrong with them in plain words."""

from taping.rules.amounts import in_percent
from taping.rules.lengths import Unit
from taping.rules.tape import Tape
from taping.rules.wording import Length, sentence

SHORT_PIECE_MM = 100.0
"""Below it a slip of a millimetre is more than a hundredth of the piece; computed."""
USUAL_PRE = (0.0, 0.15)
USUAL_LIMIT = (0.30, 0.60)
"""Published figures run from under 5 to 15 % and from 30 to 60 %, as Tape says with its source."""
_SAME = 1e-9


class ReadingError(ValueError):
    """A reading that cannot belong to the same piece; field is paper, relaxed or full."""

    def __init__(self, field: str, text: str) -> None:
        super().__init__(text)
        self.field = field


def check_readings(paper_mm: float, relaxed_mm: float, full_mm: float, unit: Unit) -> None:
    """Make sure that three readings can belong to one piece.

    Raises:
        ReadingError: naming the reading that cannot be, with what to do, lengths in ``unit``.
    """
    paper, relaxed, full = Length(paper_mm), Length(relaxed_mm), Length(full_mm)
    if paper_mm < relaxed_mm:
        text = (
            "{relaxed} relaxed is longer than {paper} on the backing. Peeled tape never grows: measure both on the "
            "same piece, and let it lie a moment before the second reading."
        )
        raise ReadingError("relaxed", sentence(text, relaxed=relaxed, paper=paper).in_unit(unit))
    if full_mm <= relaxed_mm or full_mm < paper_mm:
        text = (
            "{full} fully stretched is not longer than {before} before. Stretch the same piece until it gives no more, "
            "and read it while it is held."
        )
        before = Length(max(relaxed_mm, paper_mm))
        raise ReadingError("full", sentence(text, full=full, before=before).in_unit(unit))


def unusual_readings(paper_mm: float, tape: Tape, unit: Unit) -> tuple[str, ...]:
    """Return what is unusual about a measured tape; none of it is refused, since makes differ."""
    found = []
    if paper_mm < SHORT_PIECE_MM:
        text = "The piece was only {paper} long: a slip of {slip} counts for much. A piece of {better} is steadier."
        found.append(sentence(text, paper=Length(paper_mm), slip=Length(1.0), better=Length(200.0)).in_unit(unit))
    for share, usual, pattern in (
        (tape.pre_stretch, USUAL_PRE, "{share} longer on its backing is unusual; published figures go {usual}."),
        (tape.limit, USUAL_LIMIT, "Stretching by {share} at the most is unusual; published figures go {usual}."),
    ):
        if not usual[0] - _SAME <= share <= usual[1] + _SAME:
            words = f"from {in_percent(usual[0])} to {in_percent(usual[1])} %"
            found.append(pattern.format(share=f"{in_percent(share)} %", usual=words) + " Measure once more to be sure.")
    return tuple(found)
