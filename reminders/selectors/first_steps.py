"""What of the settings a new clinic has made."""

from datetime import datetime

from django.db.models import Exists

from clinic.models import Clinic, OpeningHours, User
from clinic.rules.first_steps import Facts, Step, first_steps
from clinic.selectors.backups import BackupLate, backup_judge, last_backup
from taping.models import TapeRoll


def steps_of(clinic: Clinic, *, sends_mail: bool = False, sends_texts: bool = False) -> tuple[Step, ...]:
    """The steps of setting up this clinic, in one query; sends_...: whether a real way out is set."""
    people = User.objects.filter(is_active=True).annotate(**_tables())
    staff = list(people.values_list("is_manager", "is_therapist", *_tables()))
    return _steps(clinic, staff, sends_mail=sends_mail, sends_texts=sends_texts)


def _tables() -> dict[str, Exists]:
    return {
        "has_hours": Exists(OpeningHours.objects.all()),
        "has_roll": Exists(TapeRoll.objects.filter(measured_at__isnull=False)),
    }


def _steps(
    clinic: Clinic, staff: list[tuple[bool, bool, bool, bool]], *, sends_mail: bool = False, sends_texts: bool = False
) -> tuple[Step, ...]:
    return first_steps(
        Facts(
            name=clinic.name,
            telephone=clinic.telephone,
            emergency_number=clinic.emergency_number,
            out_of_hours_advice=clinic.out_of_hours_advice,
            duty_address=clinic.duty_address,
            has_hours=any(hours for _, _, hours, _ in staff),
            has_therapist=any(therapist for _, therapist, _, _ in staff),
            managers=sum(manager for manager, _, _, _ in staff),
            has_measured_roll=any(roll for _, _, _, roll in staff),
            sends_mail=sends_mail,
            sends_texts=sends_texts,
        )
    )


def manager_told(clinic: Clinic, *, now: datetime) -> tuple[int, BackupLate | None]:
    """How many required steps are not done, and whether the last backup is old; one query. now: aware."""
    people = User.objects.order_by("created_at").annotate(last=last_backup(), **_tables())
    rows = list(people.values_list("is_active", "created_at", "last", "is_manager", "is_therapist", *_tables()))
    steps = _steps(
        clinic, [(manager, tapes, hours, roll) for active, _, _, manager, tapes, hours, roll in rows if active]
    )
    begun, last = (rows[0][1], rows[0][2]) if rows else (None, None)
    return sum(step.required and not step.done for step in steps), backup_judge(last=last, begun=begun, now=now)
