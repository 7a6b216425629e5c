"""Screens, plans, strips and applications."""

from datetime import date, timedelta
from zoneinfo import ZoneInfo

import factory
from factory.django import DjangoModelFactory

from taping.models import Application, SkinScreen, Strip, StripPlan
from tests.factories.clinic import NOW, PatientFactory, UserFactory

ZONE = ZoneInfo("America/New_York")


class ScreenFactory(DjangoModelFactory[SkinScreen]):
    """A clear screen of the left knee."""

    class Meta:
        model = SkinScreen

    patient = factory.SubFactory(PatientFactory)
    asked_by = factory.SubFactory(UserFactory)
    made_at = NOW
    saved_at = factory.SelfAttribute("made_at")
    region = "knee"
    side = "left"
    goal = "ease_pain"
    answers = factory.LazyFunction(dict)
    outcome = "clear"


class StripPlanFactory(DjangoModelFactory[StripPlan]):
    class Meta:
        model = StripPlan

    screen = factory.SubFactory(ScreenFactory)
    made_by = factory.SelfAttribute("screen.asked_by")
    made_at = factory.SelfAttribute("screen.made_at")
    saved_at = factory.SelfAttribute("screen.made_at")
    goal = factory.SelfAttribute("screen.goal")


class StripFactory(DjangoModelFactory[Strip]):
    """An I strip: span 300 mm, anchors 50 mm, stretch 25 %, pre-stretch 10 %: 286 mm of paper."""

    class Meta:
        model = Strip

    plan = factory.SubFactory(StripPlanFactory)
    position = factory.Sequence(lambda n: n + 1)
    shape = "i"
    start = "one_end"
    direction = "towards_origin"
    span_mm = 300.0
    paper_mm = 286.0
    anchor_first_mm = 50.0
    anchor_last_mm = 50.0
    stretch = 0.25
    share = 0.625


def _local_day(application: Application, days: int) -> date:
    return application.applied_at.astimezone(ZONE).date() + timedelta(days=days)


class ApplicationFactory(DjangoModelFactory[Application]):
    """Tape on the skin since NOW, window day 4 to day 5, taken off at home."""

    class Meta:
        model = Application

    class Params:
        screen = factory.SubFactory(
            ScreenFactory, patient=factory.SelfAttribute("..patient"), made_at=factory.SelfAttribute("..applied_at")
        )

    patient = factory.SubFactory(PatientFactory)
    applied_at = NOW
    saved_at = factory.SelfAttribute("applied_at")
    plan = factory.SubFactory(StripPlanFactory, screen=factory.SelfAttribute("..screen"))
    region = factory.SelfAttribute("plan.screen.region")
    side = factory.SelfAttribute("plan.screen.side")
    therapist = factory.SelfAttribute("plan.made_by")
    adhesion_minutes = 20
    water_minutes = 60
    opens_on = factory.LazyAttribute(lambda application: _local_day(application, 4))
    closes_on = factory.LazyAttribute(lambda application: _local_day(application, 5))
    removal_day = factory.SelfAttribute("closes_on")
    first_application = True
    caution = False
