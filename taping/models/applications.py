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
    laid_steps lists, for the strips that share them, the keys of the steps that were done and that were left out.
    version counts the corrections, so that one based on an older record is noticed.
    ended_by says who took the tape off, ending_saved_by which of the staff put that on record: nobody, where the
    patient or helper reported it by the link or a text. skin_after is what somebody saw, 30 minutes or more after the
    end; empty: nobody has answered yet.
    """

    class Removal(models.TextChoices):
        HOME = "home", "The patient, at home"
        HELPER = "helper", "A helper"
        CLINIC = "clinic", "The clinic"

    class Ending(models.TextChoices):
        OFF = "off", "Taken off"
        CAME_OFF = "came_off", "Came off early"
        SKIN = "skin", "Taken off for the skin"

    class Went(models.TextChoices):
        EASILY = "easily", "Easily"
        HARD = "hard", "With effort"
        HURT = "hurt", "It hurt"
        TORE = "tore", "It tore the skin"

    class Hair(models.TextChoices):
        NONE = "none", "No hair came off"
        SOME = "some", "Some hair came off"
        MUCH = "much", "Much hair came off"

    class Residue(models.TextChoices):
        NONE = "none", "Nothing stayed on the skin"
        SOME = "some", "Some glue stayed"
        MUCH = "much", "Much glue stayed"

    class SkinAfter(models.TextChoices):
        NO_CHANGE = "no_change", "no change seen"
        CHANGED = "changed", "a change is seen"
        NOT_LOOKED = "not_looked", "not looked at"

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
    laid_steps = models.JSONField(default=list)
    left_out_why = models.CharField("why steps of laying were left out", max_length=300, blank=True)
    version = models.PositiveIntegerField(default=1)
    remover_open = models.BooleanField("who takes it off is still to be settled", default=False)
    handed_over_at = models.DateTimeField(null=True, blank=True)
    handed_over_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")
    said_back = models.BooleanField("the patient said it back", default=False)
    not_said_why = models.CharField("why the patient did not say it back", max_length=300, blank=True)
    first_application = models.BooleanField()
    caution = models.BooleanField()
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_how = models.CharField(max_length=8, choices=Ending, blank=True)
    ended_by = models.CharField(max_length=40, blank=True)
    ended_roughly = models.BooleanField("the time is only roughly known", default=False)
    ending_went = models.CharField(max_length=6, choices=Went, blank=True)
    ending_hair = models.CharField(max_length=4, choices=Hair, blank=True)
    ending_residue = models.CharField(max_length=4, choices=Residue, blank=True)
    ending_note = models.TextField(blank=True)
    skin_after = models.CharField("skin 30 minutes after", max_length=10, choices=SkinAfter, blank=True)
    skin_after_at = models.DateTimeField(null=True, blank=True)
    skin_after_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")
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
