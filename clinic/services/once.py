"""One tap, one record: a form's one-time key."""

from collections.abc import Callable
from datetime import datetime
from uuid import UUID

from django.db import IntegrityError, transaction

from clinic.models import OnceKey


def once(*, key: UUID, now: datetime, make: Callable[[], str]) -> tuple[str, bool]:
    """Run make (which returns the address of what it made) unless key was used before.

    Returns the address and whether it was made now. The key and what is made are one transaction, so that a failure
    leaves the key unused and a second post that loses the race finds the first one's result.
    """
    used = OnceKey.objects.filter(key=key).first()
    if used is not None:
        return used.result, False
    try:
        with transaction.atomic():
            row = OnceKey.objects.create(key=key, used_at=now, result="")
            row.result = make()
            row.save(update_fields=["result"])
            return row.result, True
    except IntegrityError:
        used = OnceKey.objects.filter(key=key).first()
        if used is None:
            raise
        return used.result, False
