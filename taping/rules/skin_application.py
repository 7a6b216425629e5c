"""Does this screen permit this application?"""

from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from taping.rules.clock import local_date, require_aware
from taping.rules.places import REGIONS, region_words
from taping.rules.skin import OUTCOME_TEXT, Outcome

PERMITS = frozenset({Outcome.CLEAR, Outcome.CLEAR_WITH_CARE})
"""The outcomes after which tape may go on."""


@dataclass(frozen=True, slots=True)
class ScreenFacts:
    """A recorded skin screen; ``made_at`` is aware, ``patient`` whatever identifies one."""

    patient: object
    region: str
    side: str
    outcome: Outcome
    made_at: datetime


@dataclass(frozen=True, slots=True)
class TapingFacts:
    """An application about to be recorded; ``applied_at`` is aware and says when the tape went on."""

    patient: object
    region: str
    side: str
    applied_at: datetime


@dataclass(frozen=True, slots=True)
class Permission:
    """Whether the application may be recorded, and every reason for or against it."""

    allowed: bool
    reasons: tuple[str, ...]


def _spoken(facts: ScreenFacts | TapingFacts) -> str:
    region = REGIONS.get(facts.region)
    known = region is not None and facts.side in region.sides
    return region_words(facts.region, facts.side) if known else f"{facts.region}, side {facts.side}"


def application_allowed(screen: ScreenFacts, taping: TapingFacts, zone: ZoneInfo) -> Permission:
    """Return whether ``screen`` permits ``taping``, with days counted in the clinic's ``zone``.

    Same patient, region and side; clear or clear with care; made on the same calendar day and not after the tape
    went on. A screen of the very same instant counts as before it.

    Raises:
        ClockError: when a time is naive or ``zone`` is no ``ZoneInfo``.
        ValueError: when the outcome is none.
    """
    outcome = Outcome(screen.outcome)
    made_at = require_aware("The time of the screen", screen.made_at)
    applied_at = require_aware("The time of the tape", taping.applied_at)
    made_on, applied_on = local_date(made_at, zone), local_date(applied_at, zone)
    checks = (
        (screen.patient == taping.patient, "The skin screen is of another patient."),
        (screen.region == taping.region, f"The screen is of the {screen.region}, the tape of the {taping.region}."),
        (screen.side == taping.side, f"The screen is of the {_spoken(screen)}, the tape of the {_spoken(taping)}."),
        (outcome in PERMITS, f"The screen does not permit tape: {OUTCOME_TEXT[outcome]}"),
        (made_on == applied_on, f"The screen is of {made_on}, the tape of {applied_on}: screen again on the day."),
        # In UTC: within one zone Python compares what the wall shows, and in autumn that runs twice.
        (made_at.astimezone(UTC) <= applied_at.astimezone(UTC), "The screen was made after the tape went on."),
    )
    against = tuple(text for passed, text in checks if not passed)
    if against:
        return Permission(False, against)
    return Permission(True, (f"Screened on {made_on}: {OUTCOME_TEXT[outcome]}",))
