"""How somebody who wears no tape stops the mails about a visit in one click."""

from django.db import models

from clinic.models import Visit


class StopLink(models.Model):
    """SHA-256 of the token in the mails about one visit; the token itself is never stored. expires_at: aware UTC."""

    visit = models.OneToOneField(Visit, models.CASCADE, related_name="stop_link")
    token_sha256 = models.CharField(max_length=64, unique=True)
    expires_at = models.DateTimeField()
