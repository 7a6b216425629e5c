"""Appointments in the diary."""

import uuid
from datetime import timedelta

from django.db import models
from django.db.models import F, Q

from clinic.models.people import Patient, User
from clinic.models.planned import PlannedSubject


class Visit(PlannedSubject):
    """One appointment, [starts_at, ends_at), aware UTC. uid and sequence are those of its calendar entry (RFC 5545)."""

    class State(models.TextChoices):
        BOOKED = "booked", "Booked"
        ARRIVED = "arrived", "Arrived"
        DONE = "done", "Done"
        DID_NOT_ATTEND = "did_not_attend", "Did not attend"
        CANCELLED = "cancelled", "Cancelled"

    class Purpose(models.TextChoices):
        TAPING = "taping", "Taping"
        REMOVAL = "removal", "Tape comes off"
        FOLLOW_UP = "follow_up", "Follow-up"
        OTHER = "other", "Other"

    patient = models.ForeignKey(Patient, models.PROTECT, related_name="visits")
    therapist = models.ForeignKey(User, models.PROTECT, related_name="visits")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    purpose = models.CharField(max_length=9, choices=Purpose, default=Purpose.TAPING)
    state = models.CharField(max_length=14, choices=State, default=State.BOOKED)
    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    sequence = models.PositiveIntegerField(default=0)
    note = models.CharField(max_length=300, blank=True)
    created_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    created_at = models.DateTimeField()
    changed_at = models.DateTimeField()

    class Meta(PlannedSubject.Meta):
        ordering = ["starts_at", "id"]
        indexes = [
            *PlannedSubject.Meta.indexes,
            models.Index(fields=["starts_at"], name="visit_starts"),
            models.Index(fields=["therapist", "starts_at"], name="visit_therapist_starts"),
        ]
        constraints = [
            models.CheckConstraint(condition=Q(starts_at__lt=F("ends_at")), name="visit_ends_after_start"),
        ]

    def __str__(self) -> str:
        return f"{self.get_purpose_display()} {self.starts_at:%Y-%m-%d %H:%M}"


# The states in which a visit takes up its therapist's time; what was cancelled or missed leaves it free.
TAKES_TIME = (Visit.State.BOOKED, Visit.State.ARRIVED, Visit.State.DONE)

LONGEST_VISIT = timedelta(hours=24)
"""No visit is longer; so what overlaps a time began at most that long before it, and years of visits stay unread."""
