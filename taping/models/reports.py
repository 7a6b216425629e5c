"""What a patient or a therapist reports about the skin."""

from django.db import models

from clinic.models import Patient, User
from taping.models.applications import Application


class SkinReport(models.Model):
    """signs are keys of the rules' data file; the urgency follows from them, the grade is the therapist's alone.

    told_whom holds words such as "doctor"; follow_up_on is a day of the clinic's zone. A report that has a grade stays
    open until a therapist closes it.
    """

    patient = models.ForeignKey(Patient, models.PROTECT, related_name="skin_reports")
    application = models.ForeignKey(Application, models.PROTECT, null=True, related_name="skin_reports")
    reported_at = models.DateTimeField()
    reported_by = models.CharField(max_length=40)
    signs = models.JSONField(default=list)
    words = models.TextField(blank=True)
    minutes_after_removal = models.PositiveIntegerField(null=True, blank=True)
    urgency = models.CharField(max_length=20)
    kind = models.CharField("type, by the therapist", max_length=40, blank=True)
    grade = models.CharField("grade, by the therapist", max_length=40, blank=True)
    advice = models.TextField("advice of the rules, given at once", blank=True)
    advised = models.TextField("what the therapist advised", blank=True)
    told = models.CharField("who was told", max_length=200, blank=True)
    told_whom = models.JSONField(default=list)
    follow_up_on = models.DateField(null=True, blank=True)
    graded_at = models.DateTimeField(null=True, blank=True)
    graded_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")
    closed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-reported_at", "-id"]

    def __str__(self) -> str:
        return f"Skin report {self.pk}"
