"""Members of staff: added, changed, let in again, sent away."""

from collections.abc import Collection
from datetime import datetime

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q

from clinic.models import User
from clinic.rules.text import UnusableTextError, normalise_line, normalise_name
from clinic.services.drawn_codes import drawn_code
from clinic.services.events import Actor, event_record
from clinic.services.second_factor import factor_of, factor_remove

ROLES = ("front_desk", "therapist", "student", "manager")
LONGEST_USERNAME = 80


class StaffRefused(ValueError):
    """Nothing was changed; the text says what to do."""


@transaction.atomic
def staff_add(
    *, actor: Actor, now: datetime, username: str, full_name: str, roles: Collection[str], password: str
) -> User:
    """Add a member of staff with a password of their own. Raises StaffRefused."""
    user = _new(username, full_name, roles)
    _set_password(user, password)
    user.save()
    event_record(actor=actor, verb="staff.added", subject=user, now=now, fields=sorted(roles))
    return user


@transaction.atomic
def staff_invite(
    *, actor: Actor, now: datetime, username: str, full_name: str, roles: Collection[str]
) -> tuple[User, str]:
    """Add a member of staff with a first password, returned to be told once. Raises StaffRefused."""
    user, password = _new(username, full_name, roles), first_password()
    user.set_password(password)
    user.must_change_password = True
    user.save()
    event_record(actor=actor, verb="staff.added", subject=user, now=now, fields=sorted(roles))
    return user, password


@transaction.atomic
def staff_change(
    *, actor: Actor, now: datetime, user: User, full_name: str, roles: Collection[str], is_active: bool
) -> User:
    """Change a member of staff. Who is not active is out at the next request. Raises StaffRefused.

    Somebody always stays who may set the clinic's rules.
    """
    _check_roles(roles)
    # All in one order: two managers who take each other's role away wait for each other, and the second is refused.
    concerned = Q(pk=user.pk) | Q(is_manager=True, is_active=True)
    held = {one.pk: one for one in User.objects.select_for_update().filter(concerned).order_by("pk")}
    row = held.pop(user.pk)
    # Read while they were waited for: a row is held as it is now, its conditions were asked before.
    managers = [one for one in held.values() if one.is_manager and one.is_active]
    if row.is_manager and row.is_active and not (is_active and "manager" in roles) and not managers:
        msg = "nobody else is a manager: make somebody else one first"
        raise StaffRefused(msg)
    values = {f"is_{role}": role in roles for role in ROLES} | {"is_active": is_active, "full_name": _name(full_name)}
    changed = [name for name, value in values.items() if getattr(row, name) != value]
    for name in changed:
        setattr(row, name, values[name])
    if changed:
        row.save(update_fields=changed)
        event_record(actor=actor, verb="staff.changed", subject=row, now=now, fields=changed)
    return row


@transaction.atomic
def staff_first_password(*, actor: Actor, now: datetime, user: User) -> str:
    """A new first password, told once; whoever is logged in under this name is out at the next request."""
    password = first_password()
    user.set_password(password)
    user.must_change_password = True
    user.save(update_fields=["password", "must_change_password"])
    event_record(actor=actor, verb="staff.password_given", subject=user, now=now)
    return password


@transaction.atomic
def password_change(*, actor: Actor, now: datetime, user: User, password: str) -> None:
    """A member of staff's own new password. Every other session of theirs ends. Raises StaffRefused."""
    _set_password(user, password)
    user.must_change_password = False
    user.save(update_fields=["password", "must_change_password"])
    event_record(actor=actor, verb="staff.password_changed", subject=user, now=now)


@transaction.atomic
def staff_factor_remove(*, actor: Actor, now: datetime, user: User) -> str | None:
    """Take a lost second factor away. Returns a new first password, since a short one must not stand alone, or None."""
    if factor_of(user) is None:
        return None
    factor_remove(actor=actor, now=now, user=user)
    return staff_first_password(actor=actor, now=now, user=user)


def first_password() -> str:
    """Twenty letters and digits drawn by chance, in groups that can be read out."""
    return drawn_code(4)


def _new(username: str, full_name: str, roles: Collection[str]) -> User:
    _check_roles(roles)
    user = User(**{f"is_{role}": True for role in roles})
    try:
        user.username = normalise_line(username, longest=LONGEST_USERNAME)
    except UnusableTextError as unusable:
        raise StaffRefused(str(unusable)) from unusable
    user.full_name = _name(full_name)
    if not user.username:
        msg = "a log-in name is needed"
        raise StaffRefused(msg)
    if User.objects.filter(username__iexact=user.username).exists():
        msg = f"the log-in name {user.username} is taken"
        raise StaffRefused(msg)
    return user


def _name(full_name: str) -> str:
    try:
        return normalise_name(full_name)
    except UnusableTextError as unusable:
        raise StaffRefused(str(unusable)) from unusable


def _check_roles(roles: Collection[str]) -> None:
    unknown = sorted(set(roles) - set(ROLES))
    if unknown or not roles:
        msg = f"roles are {', '.join(ROLES)}; not {', '.join(unknown) or 'none at all'}"
        raise StaffRefused(msg)
    if {"student", "therapist"} <= set(roles):
        msg = "a student logs under a supervisor: choose student or therapist"
        raise StaffRefused(msg)


def _set_password(user: User, password: str) -> None:
    try:
        validate_password(password, user)
    except ValidationError as weak:
        raise StaffRefused(" ".join(weak.messages)) from weak
    user.set_password(password)
