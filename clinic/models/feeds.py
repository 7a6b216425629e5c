"""The address under which a therapist's own calendar program reads their diary."""

from django.db import models

from clinic.models.people import User


class CalendarFeed(models.Model):
    """One a therapist; only a digest of its secret is kept, so that nobody can read the address here. made_at: UTC."""

    therapist = models.OneToOneField(User, models.CASCADE, related_name="calendar_feed")
    token_sha256 = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"Calendar feed {self.pk}"
