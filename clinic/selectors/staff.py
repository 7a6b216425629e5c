"""Reads about members of staff."""

from datetime import datetime

from django.db.models import Exists, OuterRef, QuerySet
from django_otp.plugins.otp_totp.models import TOTPDevice

from clinic.models import User, Visit


def staff_listed() -> QuerySet[User]:
    """Everybody by name, those who left last; has_factor says whether log-in asks them for a code."""
    devices = TOTPDevice.objects.filter(user=OuterRef("pk"), confirmed=True)
    return User.objects.annotate(has_factor=Exists(devices)).order_by("-is_active", "full_name", "id")


FIRST_MANAGER = 'manage.py staff_add --username mira --full-name "Mira Holm" --roles manager,therapist'
"""What is typed to make the first manager's log-in."""


def anybody_can_log_in() -> bool:
    """Whether a log-in was ever made that still holds; in a clinic that was just begun there is none."""
    return User.objects.filter(is_active=True).exists()


def visits_ahead(person: User, now: datetime) -> int:
    """How many visits are booked with a therapist from now (aware) on."""
    return Visit.objects.filter(therapist=person, starts_at__gte=now, state=Visit.State.BOOKED).count()
