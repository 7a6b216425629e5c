"""The clinic's own tape, as three ruler readings made it known."""

from django.db import models
from django.db.models import Q

from clinic.models import User
from taping.rules.tape import Tape


class TapeRoll(models.Model):
    """One kind of tape by colour and lot. Lengths in millimetres; pre_stretch and limit as fractions.

    paper_mm, relaxed_mm and full_mm are the three readings that the fractions came from; none where nobody measured.
    """

    name = models.CharField(max_length=80)
    colour = models.CharField(max_length=40, blank=True)
    lot = models.CharField(max_length=40, blank=True)
    pre_stretch = models.FloatField(default=0.10)
    limit = models.FloatField(default=0.40)
    square_mm = models.FloatField(default=50.0)
    width_mm = models.FloatField(default=50.0)
    roll_mm = models.FloatField(default=5000.0)
    paper_mm = models.FloatField(null=True, blank=True)
    relaxed_mm = models.FloatField(null=True, blank=True)
    full_mm = models.FloatField(null=True, blank=True)
    measured_at = models.DateTimeField(null=True, blank=True)
    measured_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")
    in_use = models.BooleanField(default=True)

    class Meta:
        ordering = ["name", "colour", "id"]
        constraints = [
            models.CheckConstraint(condition=Q(pre_stretch__gte=0, limit__gt=0), name="tape_roll_stretches"),
        ]

    def __str__(self) -> str:
        words = " ".join(part for part in (self.name, self.colour) if part)
        return f"{words}, lot {self.lot}" if self.lot else words

    @property
    def tape(self) -> Tape:
        return Tape(
            pre_stretch=self.pre_stretch,
            limit=self.limit,
            square_mm=self.square_mm,
            width_mm=self.width_mm,
            roll_mm=self.roll_mm,
        )
