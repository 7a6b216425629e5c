"""The strip plan: what is to be cut and laid after a screen that allows it."""

from django.db import models
from django.db.models import Q

from clinic.models import User
from taping.models.rolls import TapeRoll
from taping.models.screens import SkinScreen


class StripPlan(models.Model):
    """A draft until it is on the skin (it then has an application) or closed as not taped."""

    screen = models.ForeignKey(SkinScreen, models.PROTECT, related_name="plans")
    made_by = models.ForeignKey(User, models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    saved_at = models.DateTimeField()
    saved_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    goal = models.CharField(max_length=20)
    posture = models.CharField("posture while measuring and taping", max_length=200, blank=True)
    reason = models.CharField("reason for taping", max_length=300, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_why = models.CharField(max_length=200, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["-made_at", "-id"]
        indexes = [models.Index(fields=["made_at"], condition=Q(closed_at=None), name="strip_plan_open")]

    def __str__(self) -> str:
        return f"Strip plan {self.pk}"


class Strip(models.Model):
    """One piece of tape with the numbers as they were shown. Lengths in millimetres; stretch and share as fractions.

    as_on: the clinic-zone date of the taping whose span was taken over without measuring again.
    """

    plan = models.ForeignKey(StripPlan, models.CASCADE, related_name="strips")
    position = models.PositiveSmallIntegerField()
    shape = models.CharField(max_length=5)
    place = models.CharField(max_length=40, blank=True)
    tails = models.PositiveSmallIntegerField(default=1)
    start = models.CharField(max_length=20)
    direction = models.CharField(max_length=20)
    roll = models.ForeignKey(TapeRoll, models.PROTECT, null=True, blank=True, related_name="+")
    span_mm = models.FloatField()
    paper_mm = models.FloatField()
    anchor_first_mm = models.FloatField()
    anchor_last_mm = models.FloatField()
    off_paper = models.BooleanField(default=False)
    stretch = models.FloatField()
    share = models.FloatField()
    as_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["plan", "position"]
        constraints = [
            models.UniqueConstraint(fields=["plan", "position"], name="strip_position_once"),
            models.CheckConstraint(condition=Q(span_mm__gt=0, paper_mm__gt=0), name="strip_has_length"),
        ]

    def __str__(self) -> str:
        return f"Strip {self.position} of plan {self.plan_id}"
