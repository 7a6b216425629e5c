"""The rows a measurement needs, put into an empty database in bulk. Invented people with numbers nobody has."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

from clinic.models import Clinic, OpeningHours, Patient, User
from clinic.models.people import Channel
from reminders.models import Message
from reminders.rules.kinds import MessageKind
from taping.models import Application, SkinScreen, StripPlan

PAGE = 2_000
_DAY = timedelta(days=1)
LAST_NUMBER = 10_000


def clinic_make() -> User:
    """The clinic, open on weekdays, and the one therapist of everybody. Returns the therapist."""
    Clinic.objects.create(
        name="Harbour Lane Clinic",
        telephone="(212) 555-0100",
        emergency_number="911",
        out_of_hours_advice="Outside opening hours call (212) 555-0101.",
        duty_address="duty@example.org",
        time_zone="UTC",
        quiet_from="00:00",
        quiet_until="00:01",
        plan_version=1,
        planned_version=1,
    )
    OpeningHours.objects.bulk_create([OpeningHours(weekday=day, opens="08:00", closes="18:00") for day in range(5)])
    return User.objects.create(username="thea", full_name="Thea Pist", is_therapist=True)


def tapes_make(count: int, *, therapist: User, at: datetime, ended: bool = False) -> list[int]:
    """count patients, each with one tape put on at `at` (aware) and nothing left to plan; returns the tapes' ids.

    ended: the tapes are off again, as those of earlier months are.
    """
    first = Patient.objects.count()
    made: list[int] = []
    for start in range(first, first + count, PAGE):
        made += _page(range(start, min(start + PAGE, first + count)), therapist, at, ended=ended)
    return made


def _page(numbers: range, therapist: User, at: datetime, *, ended: bool) -> list[int]:
    patients = [
        Patient(
            full_name=f"Ada Quill {number}",
            search_text=f"ada quill {number}",
            call_me="Ada",
            born=date(1985, 4, 3),
            phone=f"+1212555{100 + number % 100:04d}",
            email=f"ada{number}@example.org",
            prefers=Channel.EMAIL,
            consents=True,
            consent_at=at - 30 * _DAY,
            plan_version=1,
            planned_version=1,
        )
        for number in numbers
    ]
    Patient.objects.bulk_create(patients)
    screens = [
        SkinScreen(patient=one, asked_by=therapist, made_at=at, region="knee", side="left", answers={}, outcome="clear")
        for one in patients
    ]
    SkinScreen.objects.bulk_create(screens)
    plans = [StripPlan(screen=one, made_by=therapist, made_at=at, saved_at=at, goal="ease_pain") for one in screens]
    StripPlan.objects.bulk_create(plans)
    tapes = [_tape(patient, plan, at, ended=ended) for patient, plan in zip(patients, plans, strict=True)]
    Application.objects.bulk_create(tapes)
    return [one.pk for one in tapes]


def _tape(patient: Patient, plan: StripPlan, at: datetime, *, ended: bool) -> Application:
    on = at.astimezone(UTC).date()
    return Application(
        patient=patient,
        plan=plan,
        region="knee",
        side="left",
        therapist_id=plan.made_by_id,
        applied_at=at,
        saved_at=at,
        adhesion_minutes=20,
        water_minutes=60,
        opens_on=on + 4 * _DAY,
        closes_on=on + 5 * _DAY,
        removal_day=on + 5 * _DAY,
        first_application=True,
        caution=False,
        ended_at=at + 5 * _DAY if ended else None,
        ended_how=Application.Ending.OFF if ended else "",
        plan_version=1,
        planned_version=1,
    )


def message_rows(tapes: list[tuple[int, int]], *, due_at: datetime, **values: Any) -> list[Message]:
    """One message for each (tape id, patient id), due at due_at (aware), of the removal day unless values name another
    kind. values: any other columns."""
    ordinal, kind = values.pop("ordinal", 1), MessageKind(values.pop("kind", MessageKind.REMOVAL_DAY))
    return [
        Message(
            patient_id=patient,
            application_id=tape,
            subject=f"application:{tape}",
            kind=kind.value,
            ordinal=ordinal,
            slot=ordinal,
            safety=kind.is_safety,
            planned_for=due_at,
            wake_at=due_at,
            expires_at=due_at + 12 * timedelta(hours=1),
            reasons=["day 5 of the wear window"],
            **values,
        )
        for tape, patient in tapes
    ]


def messages_make(rows: list[Message]) -> None:
    for start in range(0, len(rows), PAGE):
        Message.objects.bulk_create(rows[start : start + PAGE])


def tapes_on() -> list[tuple[int, int]]:
    """(tape id, patient id) of every tape on the skin."""
    return list(Application.objects.filter(ended_at=None).order_by("pk").values_list("pk", "patient_id"))
