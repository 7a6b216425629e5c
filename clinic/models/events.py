"""Who did or read what, when; and the keys that make one tap one record."""

import uuid
from typing import Any

from django.db import models

from clinic.models.people import Patient, User


class EventIsFinal(TypeError):
    """Events are only ever added."""


class Event(models.Model):
    """One line of the event table: ids and names of fields, never values. at: aware UTC."""

    at = models.DateTimeField(db_index=True)
    actor = models.ForeignKey(User, models.PROTECT, null=True, related_name="events")
    actor_word = models.CharField(max_length=40, blank=True)
    verb = models.CharField(max_length=60)
    subject_type = models.CharField(max_length=40)
    subject_id = models.CharField(max_length=40)
    patient = models.ForeignKey(Patient, models.DO_NOTHING, null=True, db_constraint=False, related_name="events")
    fields = models.JSONField(default=list)
    origin = models.GenericIPAddressField(null=True)

    class Meta:
        ordering = ["-id"]
        indexes = [models.Index(fields=["verb", "at"], name="event_verb_at")]

    def save(self, *args: Any, **kwargs: Any) -> None:
        if self.pk is not None:
            raise EventIsFinal("an event cannot be changed")
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> tuple[int, dict[str, int]]:
        raise EventIsFinal("an event cannot be deleted")


class EventDoor(models.Model):
    """The one lawful way to delete events: while a row stands here, those older than its moment can go.

    Triggers of the database refuse every other DELETE, and every UPDATE. The row is written and taken away in the
    transaction that deletes, so that nobody else ever finds the door open.
    """

    before = models.DateTimeField()


class OnceKey(models.Model):
    """A form's one-time key. The second post with the same key is led to what the first one made."""

    key = models.UUIDField(primary_key=True, default=uuid.uuid4)
    used_at = models.DateTimeField()
    result = models.CharField(max_length=200)
