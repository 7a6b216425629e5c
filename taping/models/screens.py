"""The skin screen: what was asked, what was answered, what followed."""

from django.db import models
from django.db.models import Q

from clinic.models import Patient, User, Visit


class Side(models.TextChoices):
    LEFT = "left", "left"
    RIGHT = "right", "right"
    MIDLINE = "midline", "middle"


class SkinScreen(models.Model):
    """One screen of one region and side. answers maps a question's key to an answer; reasons are kept as shown.

    made_at: when it was asked; saved_at: when it was put on record (empty in rows older than the field). A screen
    that permits tape is taped, or marked as not taped with the reason. A student's is signed by the supervisor; where
    tape follows, signing the taping signs its screen.
    """

    patient = models.ForeignKey(Patient, models.PROTECT, related_name="screens")
    visit = models.ForeignKey(Visit, models.PROTECT, null=True, blank=True, related_name="screens")
    asked_by = models.ForeignKey(User, models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    region = models.CharField(max_length=40)
    side = models.CharField(max_length=7, choices=Side)
    goal = models.CharField(max_length=20, blank=True)
    answers = models.JSONField()
    outcome = models.CharField(max_length=20)
    reasons = models.JSONField(default=list)
    note = models.TextField(blank=True)
    late_reason = models.CharField("why it was recorded later", max_length=300, blank=True)
    saved_at = models.DateTimeField(null=True, blank=True)
    supervisor = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")
    countersigned_at = models.DateTimeField(null=True, blank=True)
    not_taped_at = models.DateTimeField(null=True, blank=True)
    not_taped_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")
    not_taped_why = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-made_at", "-id"]
        indexes = [
            models.Index(fields=["patient", "-made_at"], name="screen_of_patient"),
            models.Index(fields=["saved_at"], condition=Q(not_taped_at=None), name="screen_saved"),
        ]

    def __str__(self) -> str:
        return f"Skin screen {self.pk}"
