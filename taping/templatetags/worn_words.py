"""Strips on record, in words."""

from django import template

from taping.models import Strip
from taping.rules.cut import Cut, share_range
from taping.rules.tape import Tape

register = template.Library()


@register.filter
def tension_words(strip: Strip) -> str:
    """ "tension 55 to 70 % of what this tape can give": the range that 5 mm more or less of span make."""
    limit = strip.stretch / strip.share if strip.share > 0 and strip.stretch > 0 else Tape().limit
    anchors = (strip.anchor_first_mm, strip.anchor_last_mm)
    cut = Cut(
        span_mm=strip.span_mm,
        paper_mm=strip.paper_mm,
        squares=0.0,
        relaxed_mm=strip.paper_mm,
        anchors_mm=anchors,
        zone_mm=strip.span_mm - sum(anchors),
        stretch=strip.stretch,
        share=strip.share,
        band=None,
        tear_marks_mm=(0.0, 0.0),
        cautions=(),
    )
    shares = share_range(cut, Tape(pre_stretch=0.0, limit=limit))
    low, high = (max(0, round(share * 100)) for share in (shares.low, shares.high))
    if shares.high < 0:
        return "loose tape"
    shown = f"{low} %" if low == high else f"{low} to {high} %"
    return f"tension {shown} of what this tape can give"
