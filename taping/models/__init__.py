"""Skin screens, strip plans, applications and what was seen of the skin."""

from taping.models.applications import Application
from taping.models.plans import Strip, StripPlan
from taping.models.reports import SkinReport
from taping.models.rolls import TapeRoll
from taping.models.screens import SkinScreen

__all__ = ["Application", "SkinReport", "SkinScreen", "Strip", "StripPlan", "TapeRoll"]
