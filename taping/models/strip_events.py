"""What happens to the strips of a tape while it is worn."""

from django.db import models

from clinic.models import User
from taping.models.applications import Application
from taping.models.plans import Strip


class StripEvent(models.Model):
    """An edge trimmed, one strip off, one strip replaced. None of them moves a day of the tape.

    at and saved_at are aware UTC; by says who did it, a word such as "patient". What was written down by mistake is
    taken back and stays readable.
    """

    class What(models.TextChoices):
        EDGE_TRIMMED = "edge_trimmed", "Edge trimmed"
        STRIP_OFF = "strip_off", "One strip off"
        STRIP_REPLACED = "strip_replaced", "Strip replaced"

    application = models.ForeignKey(Application, models.PROTECT, related_name="strip_events")
    strip = models.ForeignKey(Strip, models.PROTECT, null=True, blank=True, related_name="+")
    what = models.CharField(max_length=14, choices=What)
    at = models.DateTimeField()
    by = models.CharField(max_length=40, blank=True)
    note = models.CharField(max_length=300, blank=True)
    saved_at = models.DateTimeField()
    saved_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    taken_back_at = models.DateTimeField(null=True, blank=True)
    taken_back_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")
    taken_back_why = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["at", "id"]

    def __str__(self) -> str:
        return f"Strip event {self.pk}"
