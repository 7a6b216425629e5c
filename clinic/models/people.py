"""Staff, patients and the adults who act for them."""

from datetime import datetime
from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models import Q

from clinic.models.planned import PlannedSubject
from clinic.rules.text import find_key


class Language(models.TextChoices):
    EN = "en", "English"
    ES = "es", "Spanish"
    FR = "fr", "French"
    DE = "de", "German"
    AR = "ar", "Arabic"


BEGUN_WITH = Language.EN
ASKED_FOR = ~Q(language=BEGUN_WITH.value)
"""Another language than the one that everybody begins with."""


class Channel(models.TextChoices):
    SMS = "sms", "Text message"
    EMAIL = "email", "E-mail"


class UserManager(BaseUserManager["User"]):
    def create_user(self, username: str, password: str | None = None, **fields: Any) -> "User":
        user = self.model(username=username.strip(), **fields)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def create_superuser(self, username: str, password: str | None = None, **fields: Any) -> "User":
        return self.create_user(username, password, is_manager=True, **fields)


class User(AbstractBaseUser):
    """A member of staff. Roles are separate marks: the manager of a small clinic often treats as well."""

    username = models.CharField("log-in name", max_length=80, unique=True)
    full_name = models.CharField(max_length=200)
    is_front_desk = models.BooleanField("works at the front desk", default=False)
    is_therapist = models.BooleanField("therapist", default=False)
    is_student = models.BooleanField("student, logs under a supervisor", default=False)
    is_manager = models.BooleanField("manager", default=False)
    is_active = models.BooleanField(default=True)
    must_change_password = models.BooleanField("was given a password for the first log-in", default=False)
    created_at = models.DateTimeField(auto_now_add=True)

    objects: ClassVar[UserManager] = UserManager()

    USERNAME_FIELD = "username"
    REQUIRED_FIELDS = ["full_name"]

    class Meta:
        ordering = ["full_name", "id"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(is_student=True, is_therapist=True), name="user_student_is_no_therapist"
            ),
        ]

    def __str__(self) -> str:
        return self.full_name

    @property
    def roles(self) -> frozenset[str]:
        """The role words of this user: front_desk, therapist, student, manager."""
        marks = {
            "front_desk": self.is_front_desk,
            "therapist": self.is_therapist,
            "student": self.is_student,
            "manager": self.is_manager,
        }
        return frozenset(role for role, held in marks.items() if held)

    @property
    def tapes(self) -> bool:
        """Whether this user screens skin and logs applications."""
        return self.is_therapist or self.is_student


class Patient(PlannedSubject):
    """A person who is or was taped. One full name, and what they want to be called (may be empty)."""

    full_name = models.CharField(max_length=200)
    call_me = models.CharField("what should we call you", max_length=80, blank=True)
    search_text = models.CharField(max_length=500, editable=False)
    born = models.DateField("date of birth", null=True, blank=True)
    phone = models.CharField(max_length=20, blank=True, db_index=True)
    email = models.EmailField(blank=True)
    prefers = models.CharField(max_length=5, choices=Channel, default=Channel.SMS)
    language = models.CharField(max_length=2, choices=Language, default=BEGUN_WITH)
    time_zone = models.CharField(max_length=64, blank=True)
    interpreter = models.CharField("interpreter", max_length=200, blank=True)
    may_leave_message = models.BooleanField("a message may be left", default=False)
    consents = models.BooleanField("agreed to reminders", default=False)
    consent_at = models.DateTimeField(null=True, blank=True)
    consent_asked_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")
    consent_withdrawn_at = models.DateTimeField(null=True, blank=True)
    external_id = models.CharField("number in your other system", max_length=80, null=True, blank=True, unique=True)
    note = models.TextField(blank=True)
    version = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField(auto_now_add=True)
    erased_at = models.DateTimeField(null=True, blank=True)

    class Meta(PlannedSubject.Meta):
        ordering = ["search_text", "id"]
        indexes = [
            *PlannedSubject.Meta.indexes,
            models.Index(fields=["search_text", "id", "erased_at"], name="patient_in_order"),
            models.Index(fields=["born"], condition=Q(born__isnull=False), name="patient_born"),
            models.Index(fields=["language"], condition=ASKED_FOR, name="patient_language"),
        ]

    def __str__(self) -> str:
        return self.full_name

    def save(self, *args: Any, **kwargs: Any) -> None:
        # The key is derived from the name alone; writing it anywhere else would let the two drift apart.
        self.search_text = find_key(self.full_name)
        fields = kwargs.get("update_fields")
        if fields is not None and "full_name" in fields:
            kwargs["update_fields"] = {*fields, "search_text"}
        super().save(*args, **kwargs)


class Helper(models.Model):
    """A named adult who acts for a patient: a guardian of a minor, or whoever helps at home."""

    class Relation(models.TextChoices):
        GUARDIAN = "guardian", "Parent or guardian"
        HELPER = "helper", "Helper"

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="helpers")
    full_name = models.CharField(max_length=200)
    call_me = models.CharField(max_length=80, blank=True)
    relation = models.CharField(max_length=8, choices=Relation, default=Relation.HELPER)
    phone = models.CharField(max_length=20, blank=True, db_index=True)
    email = models.EmailField(blank=True)
    prefers = models.CharField(max_length=5, choices=Channel, default=Channel.SMS)
    language = models.CharField(max_length=2, choices=Language, default=BEGUN_WITH)
    gets_messages = models.BooleanField("gets the messages", default=False)
    takes_tape_off = models.BooleanField("takes the tape off", default=False)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["patient"], condition=Q(gets_messages=True), name="helper_one_gets_the_messages"
            ),
        ]

    def __str__(self) -> str:
        return self.full_name


def consent_dates(patient: Patient, *, now: datetime, consents: bool) -> None:
    """Set the dates that belong to a changed consent. now: aware."""
    patient.consents = consents
    if consents:
        patient.consent_at, patient.consent_withdrawn_at = now, None
    else:
        patient.consent_withdrawn_at = now
