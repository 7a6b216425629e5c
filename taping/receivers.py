"""Hears what the clinic below tells."""

from datetime import datetime

from clinic.models import Visit
from clinic.signals import visit_changing


def connect() -> None:
    visit_changing.connect(_follow, dispatch_uid="taping.removal_visit")


def _follow(*, visit: Visit, now: datetime, **kwargs: object) -> None:
    from taping.services.removal_visits import removal_visit_follow  # models must be loaded first

    removal_visit_follow(visit=visit, now=now)
