"""Invented people, visits, screens, applications and messages for the tests."""

from tests.factories.clinic import HelperFactory, PatientFactory, UserFactory, VisitFactory
from tests.factories.reminders import CallItemFactory, MessageFactory
from tests.factories.taping import ApplicationFactory, ScreenFactory, StripFactory, StripPlanFactory

__all__ = [
    "ApplicationFactory",
    "CallItemFactory",
    "HelperFactory",
    "MessageFactory",
    "PatientFactory",
    "ScreenFactory",
    "StripFactory",
    "StripPlanFactory",
    "UserFactory",
    "VisitFactory",
]
