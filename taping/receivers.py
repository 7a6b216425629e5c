"""Hears what the clinic below tells."""

from datetime import date, datetime

from clinic.models import Patient, Visit
from clinic.signals import visit_changing, wear_window_wanted


def connect() -> None:
    visit_changing.connect(_follow, dispatch_uid="taping.removal_visit")
    wear_window_wanted.connect(_window, dispatch_uid="taping.wear_window")


def _follow(*, visit: Visit, now: datetime, **kwargs: object) -> None:
    from taping.services.removal_visits import removal_visit_follow  # models must be loaded first

    removal_visit_follow(visit=visit, now=now)


def _window(*, patient: Patient, **kwargs: object) -> tuple[date, date, date, bool] | None:
    from taping.selectors import wear_window_of

    return wear_window_of(patient)
