"""Adds members of staff."""

from collections.abc import Collection
from datetime import datetime

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction

from clinic.models import User
from clinic.rules.text import UnusableTextError, normalise_line, normalise_name
from clinic.services.events import Actor, event_record

ROLES = ("front_desk", "therapist", "student", "manager")
LONGEST_USERNAME = 80


class StaffRefused(ValueError):
    """The person cannot be added; the text says what to change."""


@transaction.atomic
def staff_add(
    *, actor: Actor, now: datetime, username: str, full_name: str, roles: Collection[str], password: str
) -> User:
    """Add a member of staff with a password of their own. Raises StaffRefused."""
    unknown = sorted(set(roles) - set(ROLES))
    if unknown or not roles:
        raise StaffRefused(f"roles are {', '.join(ROLES)}; not {', '.join(unknown) or 'none at all'}")
    if {"student", "therapist"} <= set(roles):
        raise StaffRefused("a student logs under a supervisor: choose student or therapist")
    user = User(**{f"is_{role}": True for role in roles})
    try:
        user.username = normalise_line(username, longest=LONGEST_USERNAME)
        user.full_name = normalise_name(full_name)
    except UnusableTextError as unusable:
        raise StaffRefused(str(unusable)) from unusable
    if not user.username:
        raise StaffRefused("a log-in name is needed")
    if User.objects.filter(username__iexact=user.username).exists():
        raise StaffRefused(f"the log-in name {user.username} is taken")
    try:
        validate_password(password, user)
    except ValidationError as weak:
        raise StaffRefused(" ".join(weak.messages)) from weak
    user.set_password(password)
    user.save()
    event_record(actor=actor, verb="staff.added", subject=user, now=now, fields=sorted(roles))
    return user
