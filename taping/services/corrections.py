"""Corrections of a tape on record: what they change, and the old words kept beside the new ones."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from clinic.models import Clinic
from clinic.services.events import Actor
from taping.models import Application, Correction, SkinScreen, Strip
from taping.rules.clock import local_date
from taping.rules.cut import ImpossibleCut, cut_of_length
from taping.rules.lengths import Unit, format_length
from taping.rules.places import REGIONS, region_words
from taping.rules.wear import spell_day
from taping.selectors import unit_of
from taping.services.application_checks import refuse_place
from taping.services.plans import CANNOT_BE_LAID
from taping.services.refusals import TapingRefused
from taping.services.strips import tape_of

LABELS = {
    "applied_at": "put on at",
    "side": "place",
    "posture": "posture",
    "closes_on": "comes off by",
    "removal": "taken off by",
    "caution": "caution",
}


class RecordChanged(TapingRefused):
    """Somebody else corrected this tape since the page was opened; current is what is stored now."""

    def __init__(self, current: Application, zone: ZoneInfo) -> None:
        last = current.corrections.select_related("by").first()
        self.who = last.by.full_name if last and last.by else "somebody else"
        self.at = last.at.astimezone(zone) if last else None
        when = f" at {self.at:%H:%M}" if self.at else ""
        super().__init__(f"{self.who} corrected this record{when}. Look at what is stored now, then correct it again.")
        self.current = current


@dataclass(frozen=True, slots=True)
class StripNumbers:
    """The measured lengths of one strip, in millimetres."""

    position: int
    span_mm: float
    paper_mm: float


def record_words(application: Application, clinic: Clinic) -> dict[str, str]:
    """What the record says now, in words, by the key of each field that can be corrected."""
    unit = unit_of(clinic)
    return {
        "applied_at": f"{application.applied_at.astimezone(clinic.zone):%H:%M}",
        "side": region_words(application.region, application.side),
        "posture": application.plan.posture,
        "closes_on": spell_day(application.closes_on),
        "removal": Application.Removal(application.removal).label,
        "caution": "yes" if application.caution else "no",
        **{f"strip {strip.position}": _strip_words(strip, unit) for strip in application.plan.strips.all()},
    }


def _strip_words(strip: Strip, unit: Unit) -> str:
    return f"span {format_length(strip.span_mm, unit)}, cut {format_length(strip.paper_mm, unit)}"


def corrections_keep(
    application: Application, before: dict[str, str], after: dict[str, str], *, actor: Actor, now: datetime, why: str
) -> list[str]:
    """Store what differs and return its keys; now: aware."""
    changed = [key for key, words in after.items() if before.get(key) != words]
    Correction.objects.bulk_create(
        Correction(
            application=application,
            at=now,
            by=actor.user,
            what=LABELS.get(key, key),
            was=before.get(key, "")[:300],
            became=after[key][:300],
            why=why.strip()[:300],
        )
        for key in changed
    )
    return changed


def correct_side(application: Application, side: str, *, now: datetime, zone: ZoneInfo) -> None:
    """Mend a slip of left and right, in the screen too, on the day of the taping. now: aware. Raises TapingRefused.

    Another region is another skin: that takes a screen and a record of its own.
    """
    if side == application.side:
        return
    screen: SkinScreen = application.plan.screen
    if side not in REGIONS[application.region].sides:
        raise TapingRefused("This part of the body has no such side.", "side")
    if local_date(now, zone) != local_date(application.applied_at, zone):
        raise TapingRefused("The side can be corrected on the day of the taping only.", "side")
    if screen.plans.exclude(pk=application.plan_id).filter(application__isnull=False).exists():
        raise TapingRefused("The same screen allowed another tape: its side stands.", "side")
    screen.side = side
    try:
        refuse_place(screen)
    except TapingRefused as refused:
        raise TapingRefused(refused.message, "side") from refused
    screen.save(update_fields=["side"])
    application.side = side


def correct_strips(application: Application, numbers: Iterable[StripNumbers], unit: Unit) -> None:
    """Mend measured lengths; the tension is reckoned anew from the roll's numbers of now. Raises TapingRefused."""
    strips = {strip.position: strip for strip in application.plan.strips.select_related("roll")}
    for one in numbers:
        if one.position not in strips:
            raise TapingRefused("That strip is not in this record.")
        _correct_strip(strips[one.position], one, unit)
    # What was read before is stale: the words afterwards are read from the database.
    application.plan._prefetched_objects_cache = {}  # type: ignore[attr-defined]


def _correct_strip(strip: Strip, one: StripNumbers, unit: Unit) -> None:
    anchors, field = (strip.anchor_first_mm, strip.anchor_last_mm), f"span_{strip.position}"
    try:
        cut = cut_of_length(one.span_mm, one.paper_mm, tape_of(strip.roll), anchors, off_paper=strip.off_paper)
    except ImpossibleCut as impossible:
        raise TapingRefused(impossible.in_unit(unit), field) from impossible
    for caution in cut.cautions:
        if caution.key in CANNOT_BE_LAID:
            raise TapingRefused(caution.in_unit(unit).text, field)
    strip.span_mm, strip.paper_mm, strip.stretch, strip.share = cut.span_mm, cut.paper_mm, cut.stretch, cut.share
    strip.save(update_fields=["span_mm", "paper_mm", "stretch", "share"])
