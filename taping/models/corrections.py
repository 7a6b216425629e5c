"""What was corrected in the record of a tape: the old words stay beside the new ones."""

from django.db import models

from clinic.models import User
from taping.models.applications import Application


class Correction(models.Model):
    """One corrected field of one tape; at is aware UTC.

    what: a word for the field; was, became: as pages said it then.
    """

    application = models.ForeignKey(Application, models.PROTECT, related_name="corrections")
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    what = models.CharField(max_length=60)
    was = models.CharField(max_length=300, blank=True)
    became = models.CharField(max_length=300, blank=True)
    why = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-at", "-id"]

    def __str__(self) -> str:
        return f"Correction {self.pk} of application {self.application_id}"
