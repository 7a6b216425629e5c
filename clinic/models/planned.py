"""What messages are planned from carries a version, so that a lost signal costs a delay and nothing more."""

from django.db import models
from django.db.models import F, Q


class PlannedSubject(models.Model):
    """plan_version counts changes that matter to messages; planned_version is the one the messages were planned from.

    The row is stale while the two differ; the partial index keeps finding stale rows cheap among a million fresh ones.
    """

    plan_version = models.PositiveIntegerField(default=1)
    planned_version = models.PositiveIntegerField(default=0)

    class Meta:
        abstract = True
        indexes = [
            models.Index(fields=["id"], condition=~Q(plan_version=F("planned_version")), name="%(class)s_stale"),
        ]
