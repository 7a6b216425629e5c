"""Which process does a job that one process does at a time."""

from datetime import datetime, timedelta

from django.db import IntegrityError, transaction
from django.db.models import Q

from reminders.models import Lease
from reminders.rules.outbox import CLOCKS_DIFFER


def lease_take(*, name: str, holder: str, now: datetime, length: timedelta) -> bool:
    """Take or renew the lease of this name until now + length; False while another holder's still runs. now: aware.

    A lease that ends later than one length ahead, give or take what two hosts' clocks may differ, was given before
    the clock was set back, and is dead.
    """
    free = Q(holder=holder) | Q(until__lte=now) | Q(until__gt=now + length + CLOCKS_DIFFER)
    if Lease.objects.filter(free, name=name).update(holder=holder, until=now + length):
        return True
    if Lease.objects.filter(name=name).exists():
        return False
    try:
        with transaction.atomic():
            Lease.objects.create(name=name, holder=holder, until=now + length)
    except IntegrityError:
        return False
    return True


def lease_good(*, name: str, holder: str, now: datetime) -> None:
    """Note that the job was done without a fault."""
    Lease.objects.filter(name=name, holder=holder).update(last_good_at=now)


def lease_release(*, name: str, holder: str, now: datetime) -> None:
    """Let somebody else begin at once."""
    Lease.objects.filter(name=name, holder=holder).update(until=now)
