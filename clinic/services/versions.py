"""Says that what messages depend on has changed: a raised version in the row, and one signal after commit."""

from collections.abc import Sequence

from django.db import transaction
from django.db.models import F

from clinic.models.planned import PlannedSubject
from clinic.signals import messages_stale


def plan_raise(subject: PlannedSubject) -> None:
    """Raise subject's plan_version in the database; call it inside the transaction that changed the subject."""
    type(subject)._default_manager.filter(pk=subject.pk).update(plan_version=F("plan_version") + 1)
    transaction.on_commit(_tell, robust=True)


def plan_raise_all(subjects: Sequence[PlannedSubject]) -> None:
    """The same for many subjects of one kind, in one statement."""
    if subjects:
        ids = [subject.pk for subject in subjects]
        type(subjects[0])._default_manager.filter(pk__in=ids).update(plan_version=F("plan_version") + 1)
        transaction.on_commit(_tell, robust=True)


def plan_raised() -> None:
    """Tell after commit; the caller has raised the versions, in a statement of its own."""
    transaction.on_commit(_tell, robust=True)


def _tell() -> None:
    messages_stale.send(sender=PlannedSubject)
