"""The application: one taping of one region, and how it ended."""

from django.db import models
from django.db.models import F, Q

from clinic.models import Helper, Patient, User, Visit
from clinic.models.planned import PlannedSubject
from taping.models.plans import StripPlan
from taping.models.screens import Side


class Application(PlannedSubject):
    """Tape on one region of one patient. Times are aware UTC; opens_on, closes_on, removal_day are clinic-zone dates.

    The plan is a one-to-one key: a double tap on "on the skin now" cannot make a second application.
    ended_by says who took the tape off, ending_saved_by which of the staff put that on record: nobody, where the
    patient or helper reported it by the link or a text.
    """

    class Removal(models.TextChoices):
        HOME = "home", "The patient, at home"
        HELPER = "helper", "A helper"
        CLINIC = "clinic", "The clinic"

    class Ending(models.TextChoices):
        OFF = "off", "Taken off"
        CAME_OFF = "came_off", "Came off early"
        SKIN = "skin", "Taken off for the skin"

    patient = models.ForeignKey(Patient, models.PROTECT, related_name="applications")
    plan = models.OneToOneField(StripPlan, models.PROTECT, related_name="application")
    region = models.CharField(max_length=40)
    side = models.CharField(max_length=7, choices=Side)
    therapist = models.ForeignKey(User, models.PROTECT, related_name="applications")
    supervisor = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="supervised")
    countersigned_at = models.DateTimeField(null=True, blank=True)
    visit = models.ForeignKey(Visit, models.PROTECT, null=True, blank=True, related_name="applications")
    removal_visit = models.ForeignKey(Visit, models.SET_NULL, null=True, blank=True, related_name="removes")
    applied_at = models.DateTimeField()
    saved_at = models.DateTimeField()
    late_reason = models.CharField("why it was recorded or corrected later", max_length=300, blank=True)
    adhesion_minutes = models.PositiveSmallIntegerField()
    water_minutes = models.PositiveSmallIntegerField()
    opens_on = models.DateField()
    closes_on = models.DateField()
    removal_day = models.DateField()
    shortened_why = models.CharField("why the window is shorter", max_length=300, blank=True)
    removal = models.CharField(max_length=6, choices=Removal, default=Removal.HOME)
    helper = models.ForeignKey(Helper, models.SET_NULL, null=True, blank=True, related_name="+")
    removal_answers = models.JSONField(default=dict)
    first_application = models.BooleanField()
    caution = models.BooleanField()
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_how = models.CharField(max_length=8, choices=Ending, blank=True)
    ended_by = models.CharField(max_length=40, blank=True)
    ending_note = models.TextField(blank=True)
    ending_saved_at = models.DateTimeField(null=True, blank=True)
    ending_saved_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")
    reopened_why = models.TextField("why an ending was taken back", blank=True)
    link_generation = models.PositiveIntegerField(default=1)

    class Meta(PlannedSubject.Meta):
        ordering = ["-applied_at", "-id"]
        indexes = [
            *PlannedSubject.Meta.indexes,
            models.Index(fields=["closes_on", "id"], condition=Q(ended_at=None), name="application_on_skin"),
            models.Index(fields=["patient", "-applied_at"], name="application_of_patient"),
        ]
        constraints = [
            models.CheckConstraint(condition=Q(opens_on__lte=F("closes_on")), name="application_window"),
            models.CheckConstraint(condition=Q(removal_day__lte=F("closes_on")), name="application_removal_in_time"),
            models.CheckConstraint(
                condition=Q(ended_at=None, ended_how="") | (Q(ended_at__isnull=False) & ~Q(ended_how="")),
                name="application_ending_whole",
            ),
            models.UniqueConstraint(
                fields=["patient", "region", "side"], condition=Q(ended_at=None), name="application_one_a_place"
            ),
        ]

    def __str__(self) -> str:
        return f"Application {self.pk}"
