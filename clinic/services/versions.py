"""Says that what messages depend on has changed: a raised version in the row, and one signal after commit."""

from django.db import transaction
from django.db.models import F

from clinic.models.planned import PlannedSubject
from clinic.signals import messages_stale


def plan_raise(subject: PlannedSubject) -> None:
    """Raise subject's plan_version in the database; call it inside the transaction that changed the subject."""
    type(subject)._default_manager.filter(pk=subject.pk).update(plan_version=F("plan_version") + 1)
    transaction.on_commit(_tell, robust=True)


def _tell() -> None:
    messages_stale.send(sender=PlannedSubject)
