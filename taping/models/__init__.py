"""Skin screens, strip plans, applications and what was seen of the skin."""

from taping.models.applications import Application
from taping.models.corrections import Correction
from taping.models.drafts import ScreenDraft
from taping.models.pain import PainScore
from taping.models.plans import Strip, StripPlan
from taping.models.reports import SkinReport
from taping.models.rolls import TapeRoll
from taping.models.screens import SkinScreen
from taping.models.strip_events import StripEvent

__all__ = [
    "Application",
    "Correction",
    "PainScore",
    "ScreenDraft",
    "SkinReport",
    "SkinScreen",
    "Strip",
    "StripEvent",
    "StripPlan",
    "TapeRoll",
]
