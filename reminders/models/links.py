"""The patient's link: the token itself is never stored."""

from django.db import models

from taping.models import Application


class Link(models.Model):
    """SHA-256 of a token, with the generation that makes it; raising Application.link_generation revokes it."""

    class Purpose(models.TextChoices):
        TAPE = "tape", "the patient's page"
        STOP = "stop", "stop messages"

    application = models.ForeignKey(Application, models.CASCADE, related_name="links")
    purpose = models.CharField(max_length=4, choices=Purpose)
    generation = models.PositiveIntegerField()
    token_sha256 = models.CharField(max_length=64, unique=True)
    expires_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["application", "purpose", "generation"], name="link_once"),
        ]
