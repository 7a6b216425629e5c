"""The clinic itself: its numbers, its hours, the days it is closed."""

from datetime import time
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.core.exceptions import ImproperlyConfigured, ValidationError
from django.db import models
from django.db.models import F, Q

from clinic.models.people import Language, User
from clinic.models.planned import PlannedSubject
from clinic.rules.tongue import spoken
from clinic.zone_data import zone_data

ONLY_ROW = 1


def _no_messages() -> list[str]:
    return []


def _nothing() -> dict[str, Any]:
    return {}


class Clinic(PlannedSubject):
    """The one row of the clinic's settings. Clock times are in time_zone; durations carry their unit in the name."""

    class Units(models.TextChoices):
        CENTIMETRES = "cm", "Centimetres"
        INCHES = "in", "Inches, in sixteenths"

    name = models.CharField(max_length=120, default="Our clinic")
    address = models.TextField(blank=True)
    telephone = models.CharField(max_length=40, blank=True)
    emergency_number = models.CharField(max_length=20, blank=True)
    out_of_hours_advice = models.CharField(max_length=300, blank=True)
    duty_address = models.EmailField(blank=True)
    time_zone = models.CharField(max_length=64, default="America/New_York")
    country = models.CharField(max_length=2, default="US")
    # The part of the country whose holidays are suggested, as the package holidays writes it; "": the national ones.
    region = models.CharField(max_length=40, blank=True, default="", db_default="")
    units = models.CharField(max_length=2, choices=Units, default=Units.CENTIMETRES)
    quiet_from = models.TimeField(default=time(21))
    quiet_until = models.TimeField(default=time(8))
    adhesion_minutes = models.PositiveSmallIntegerField(default=20)
    water_minutes = models.PositiveSmallIntegerField(default=60)
    wear_first_day = models.PositiveSmallIntegerField(default=4)
    wear_last_day = models.PositiveSmallIntegerField(default=5)
    skin_rest_hours = models.PositiveSmallIntegerField(default=24)
    optional_messages = models.JSONField(default=_no_messages, blank=True)
    # How long things are kept; 0: until somebody decides, since the law differs from place to place.
    keep_records_years = models.PositiveSmallIntegerField(default=0)
    keep_messages_months = models.PositiveSmallIntegerField(default=0)
    keep_events_years = models.PositiveSmallIntegerField(default=0)
    # From this day on everybody logs in with a second factor; none: managers alone have to.
    codes_from = models.DateField(null=True, blank=True)

    language = models.CharField(max_length=2, choices=Language, default=Language.EN)
    # By language: {"name": the fluent clinician who read every text, "on": the date in ISO 8601}.
    languages = models.JSONField(default=_nothing, blank=True)
    # By language, the clinic's own words for sentences of messages, by the sentence's key and form.
    texts = models.JSONField(default=_nothing, blank=True)
    # By language, for words that came after its approval: who read them, as in languages, by the same keys, and under
    # "approved" what stood there when it was approved, "" for the program's own words.
    text_readers = models.JSONField(default=_nothing, blank=True)

    class Meta(PlannedSubject.Meta):
        constraints = [
            models.CheckConstraint(condition=Q(id=ONLY_ROW), name="clinic_one_row"),
            models.CheckConstraint(condition=~Q(quiet_from=F("quiet_until")), name="clinic_quiet_hours_end"),
            models.CheckConstraint(
                condition=Q(wear_first_day__gte=1, wear_last_day__lte=7, wear_first_day__lte=F("wear_last_day")),
                name="clinic_wear_days",
            ),
            models.CheckConstraint(
                condition=Q(adhesion_minutes__range=(20, 120), water_minutes__range=(20, 240)),
                name="clinic_adhesion_minutes",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.id = ONLY_ROW
        super().save(*args, **kwargs)

    def clean(self) -> None:
        if self.quiet_from == self.quiet_until:
            raise ValidationError({"quiet_until": "Quiet hours must end at another time than they begin."})

    @property
    def zone(self) -> ZoneInfo:
        """Raises ImproperlyConfigured, with what to do, where this machine's time-zone data has no such zone."""
        try:
            return ZoneInfo(self.time_zone)
        except (ZoneInfoNotFoundError, ValueError) as unknown:
            raise ImproperlyConfigured(
                f"The time-zone data {zone_data() or '(there is none)'} has no zone called {self.time_zone!r}, which "
                "is the clinic's. Install a newer version of the package tzdata."
            ) from unknown

    def speaks(self, wanted: str) -> str:
        """The language in which somebody who wants this one is written to: the clinic's where it is not approved."""
        return spoken(wanted, clinic=self.language, approved=self.languages)


class OpeningHours(models.Model):
    """One span of a weekday, local time. Without a therapist it is the clinic's own; Monday is 0."""

    therapist = models.ForeignKey(User, models.CASCADE, null=True, blank=True, related_name="opening_hours")
    weekday = models.PositiveSmallIntegerField()
    opens = models.TimeField()
    closes = models.TimeField()

    class Meta:
        ordering = ["weekday", "opens"]
        constraints = [
            models.CheckConstraint(condition=Q(opens__lt=F("closes")), name="opening_hours_end_after_start"),
            models.CheckConstraint(condition=Q(weekday__lte=6), name="opening_hours_weekday"),
        ]


class Closure(models.Model):
    """A date on which the clinic, or one therapist, does not work."""

    day = models.DateField()
    therapist = models.ForeignKey(User, models.CASCADE, null=True, blank=True, related_name="closures")
    reason = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["day"]
        constraints = [
            models.UniqueConstraint(fields=["day", "therapist"], name="closure_of_therapist_once"),
            models.UniqueConstraint(fields=["day"], condition=Q(therapist=None), name="closure_of_clinic_once"),
        ]
