"""What was begun of a skin screen and not recorded yet."""

from django.db import models
from django.db.models import Q

from clinic.models import Patient, User, Visit
from taping.models.screens import Side, SkinScreen


class ScreenDraft(models.Model):
    """The answers of one place so far, saved as they are given. Times are aware UTC.

    answers maps a question's key to an answer; words keeps the other small fields of the form as they were typed, so
    that a time nobody can read is not lost either. One open draft a patient and place: a double tap begins it once,
    and two tablets meet in it. saved_from is the page whose save was the last: it alone may save again upon a version
    that it has not heard of, because what came between is its own. A post that leaves the page behind stands there as a
    key made from the page's: what the left page sent before and comes later is refused.
    """

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="screen_drafts")
    visit = models.ForeignKey(Visit, models.SET_NULL, null=True, blank=True, related_name="+")
    region = models.CharField(max_length=40)
    side = models.CharField(max_length=7, choices=Side)
    answers = models.JSONField(default=dict)
    words = models.JSONField(default=dict)
    note = models.TextField(blank=True)
    begun_by = models.ForeignKey(User, models.PROTECT, related_name="+")
    begun_at = models.DateTimeField()
    saved_by = models.ForeignKey(User, models.PROTECT, related_name="+")
    saved_at = models.DateTimeField()
    saved_from = models.UUIDField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")
    screen = models.OneToOneField(SkinScreen, models.CASCADE, null=True, blank=True, related_name="draft")

    class Meta:
        ordering = ["-saved_at", "-id"]
        indexes = [models.Index(fields=["begun_at"], name="screen_draft_begun")]
        constraints = [
            models.UniqueConstraint(
                fields=["patient", "region", "side"], condition=Q(closed_at=None), name="screen_draft_one_a_place"
            ),
        ]

    def __str__(self) -> str:
        return f"Draft of a skin screen {self.pk}"
