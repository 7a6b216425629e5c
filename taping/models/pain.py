"""How much it hurts, from 0 to 10, as the patient said it."""

from django.db import models
from django.db.models import Q

from clinic.models import User
from taping.models.plans import StripPlan


class PainScore(models.Model):
    """One answer about one taping. The last row of a moment counts; the rows before it are what it corrects.

    It hangs on the plan, since pain before taping is asked before there is tape. score None: nobody asked.
    said_at is aware UTC.
    """

    class Moment(models.TextChoices):
        BEFORE = "before", "before taping"
        AFTER = "after", "right after taping"
        NEXT = "next", "at the next visit or the end"

    plan = models.ForeignKey(StripPlan, models.PROTECT, related_name="pain_scores")
    moment = models.CharField(max_length=6, choices=Moment)
    score = models.PositiveSmallIntegerField(null=True, blank=True)
    said_at = models.DateTimeField()
    asked_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    why = models.CharField("why it was corrected", max_length=300, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(condition=Q(score=None) | Q(score__lte=10), name="pain_score_scale"),
        ]

    def __str__(self) -> str:
        return f"Pain score {self.pk}"
