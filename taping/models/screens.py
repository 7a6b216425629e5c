"""The skin screen: what was asked, what was answered, what followed."""

from django.db import models

from clinic.models import Patient, User, Visit


class Side(models.TextChoices):
    LEFT = "left", "left"
    RIGHT = "right", "right"
    MIDLINE = "midline", "middle"


class SkinScreen(models.Model):
    """One screen of one region and side. answers maps a question's key to an answer; reasons are kept as shown."""

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

    class Meta:
        ordering = ["-made_at", "-id"]

    def __str__(self) -> str:
        return f"Skin screen {self.pk}"
