"""Messages and call items."""

from datetime import timedelta

import factory
from factory.django import DjangoModelFactory

from reminders.models import CallItem, Message
from tests.factories.clinic import NOW
from tests.factories.taping import ApplicationFactory


class MessageFactory(DjangoModelFactory[Message]):
    """A removal-day message of a tape, due at NOW, useless four hours later."""

    class Meta:
        model = Message

    application = factory.SubFactory(ApplicationFactory)
    patient = factory.SelfAttribute("application.patient")
    subject = factory.LazyAttribute(lambda message: f"application:{message.application.pk}")
    kind = "removal_day"
    safety = True
    planned_for = NOW
    wake_at = factory.SelfAttribute("planned_for")
    expires_at = factory.LazyAttribute(lambda message: message.planned_for + timedelta(hours=4))
    reasons = factory.LazyFunction(lambda: ["day 5 of the wear window"])


class CallItemFactory(DjangoModelFactory[CallItem]):
    class Meta:
        model = CallItem

    application = factory.SubFactory(ApplicationFactory)
    patient = factory.SelfAttribute("application.patient")
    reason = CallItem.Reason.OVERDUE
    key = factory.Sequence(lambda n: f"overdue:{n}")
    since = NOW
