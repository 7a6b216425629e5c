"""Several sheets at once: which tapes they are of, and how far each is. No paper and no address is stored."""

from django.db import models

from clinic.models import User
from taping.models import Application


class SheetBatch(models.Model):
    """The sheets of one day. made_at and stopped_at are aware UTC, day is the clinic's."""

    class Kind(models.TextChoices):
        AFTERCARE = "aftercare", "to take home, of tape put on"
        REMOVAL = "removal", "of tape that comes off"

    kind = models.CharField(max_length=9, choices=Kind)
    day = models.DateField()
    made_by = models.ForeignKey(User, models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    stopped_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"Sheet batch {self.pk}"


class BatchSheet(models.Model):
    """One sheet of a batch. begun_at is set before it is made, so that one that takes the program down is known.

    tight and grown_mm: how it fills its page (Fit in reminders/sheets/printing.py).
    """

    class State(models.TextChoices):
        WAITING = "waiting", "waiting"
        MAKING = "making", "being made"
        MADE = "made", "made"
        FAILED = "failed", "not made"

    batch = models.ForeignKey(SheetBatch, models.CASCADE, related_name="sheets")
    application = models.ForeignKey(Application, models.CASCADE, related_name="+")
    position = models.PositiveSmallIntegerField()
    state = models.CharField(max_length=7, choices=State, default=State.WAITING)
    why = models.CharField(max_length=200, blank=True)
    tight = models.BooleanField(default=False)
    grown_mm = models.PositiveSmallIntegerField(default=0, db_default=0)
    begun_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["batch", "position"]
        constraints = [
            models.UniqueConstraint(fields=["batch", "position"], name="batch_sheet_position_once"),
        ]

    def __str__(self) -> str:
        return f"Sheet {self.position} of batch {self.batch_id}"
