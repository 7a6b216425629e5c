"""Sets up the clinic of a scenario and makes its tapes and visits, all through the services of the real one."""

import logging
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.db import transaction

from clinic.models import Clinic, Closure, OpeningHours, Patient, User, Visit
from clinic.services.events import Actor
from clinic.services.patients import patient_add
from clinic.services.visits import VisitRefused, visit_book
from reminders.rehearsal.scenario import ApplicationPart, ClinicPart, PatientPart, VisitPart
from taping.models import Application, SkinScreen
from taping.rules.cut import cut_for_stretch
from taping.rules.shape_kinds import ShapeKind
from taping.rules.skin import QUESTIONS, Answer
from taping.rules.tape import Tape
from taping.rules.technique import Direction, Start
from taping.services.applications import TapingDetails, application_start
from taping.services.plans import plan_start, strip_put
from taping.services.refusals import TapingRefused
from taping.services.removal_visits import removal_visit_book
from taping.services.screens import ScreenDetails, screen_record
from taping.services.strips import StripValues

log = logging.getLogger(__name__)

REFUSALS = (TapingRefused, VisitRefused)
"""What a service raises where a person could not have done it either."""

GOAL = "ease_pain"
CAUTION = "painful_touch"
"""A caution that speaks against no way of taking the tape off; the scenario says who does it."""

_SPAN_MM, _SHARE = 300.0, 0.25


@dataclass(slots=True)
class Company:
    """Who and what the scenario's names stand for. A name is missing where the services refused to make it."""

    clinic: Clinic
    therapist: User
    patients: dict[str, Patient] = field(default_factory=dict)
    applications: dict[str, int] = field(default_factory=dict)
    visits: dict[str, int] = field(default_factory=dict)
    visit_is_for: dict[int, str] = field(default_factory=dict)

    @property
    def actor(self) -> Actor:
        return Actor(user=self.therapist)


def company_make(clinic: ClinicPart, patients: tuple[PatientPart, ...], now: datetime) -> Company:
    """The clinic, one therapist and the patients, known since now (aware). The database must be empty."""
    made = Company(_clinic(clinic), _therapist(1))
    for part in patients:
        values = {
            "full_name": part.name,
            "call_me": part.call_me,
            "phone": part.phone,
            "email": part.email,
            "prefers": part.prefers,
            "consents": part.consents,
            "time_zone": part.time_zone,
        }
        made.patients[part.ref] = patient_add(actor=made.actor, now=now, values=values)
    return made


def _clinic(part: ClinicPart) -> Clinic:
    clinic = Clinic(
        telephone="(212) 555-0100",
        time_zone=part.time_zone.key,
        quiet_from=part.quiet_from,
        quiet_until=part.quiet_until,
        adhesion_minutes=part.adhesion_wait_minutes,
        wear_first_day=part.wear_first_day,
        wear_last_day=part.wear_last_day,
        optional_messages=list(part.optional_messages),
    )
    clinic.save()
    OpeningHours.objects.bulk_create(
        OpeningHours(weekday=day, opens=opens, closes=closes) for day, (opens, closes) in part.hours.items()
    )
    Closure.objects.bulk_create(Closure(day=day) for day in part.closed_on)
    return clinic


def _therapist(number: int) -> User:
    return User.objects.create_user(f"therapist-{number}", full_name=f"Therapist {number}", is_therapist=True)


@transaction.atomic
def tape_put_on(company: Company, part: ApplicationPart, now: datetime) -> None:
    """Screen, plan and lay one strip. Raises TapingRefused, and leaves nothing behind."""
    actor = company.actor
    screen = _screen(company, part, now)
    plan = plan_start(actor=actor, now=now, screen=screen)
    cut = cut_for_stretch(_SPAN_MM, _SHARE, Tape())
    strip = StripValues(ShapeKind.I, Start.ONE_END, Direction.TOWARDS_ORIGIN, cut)
    strip_put(actor=actor, now=now, plan=plan, strip=strip)
    details = TapingDetails(applied_at=now, removal=part.removal)
    application = application_start(actor=actor, now=now, plan=plan, details=details)
    company.applications[part.ref] = application.pk


def _screen(company: Company, part: ApplicationPart, now: datetime) -> SkinScreen:
    answers: dict[str, Answer | None] = {question.key: Answer.NO for question in QUESTIONS}
    if part.caution:
        answers[CAUTION] = Answer.YES
    note = "taped with care, as the scenario says" if part.caution else ""
    details = ScreenDetails(region=part.region, side=part.side, answers=answers, goal=GOAL, note=note)
    return screen_record(actor=company.actor, now=now, patient=company.patients[part.patient], details=details)


@transaction.atomic
def visit_put_down(company: Company, part: VisitPart, now: datetime) -> None:
    """Book a visit; one that names a tape is its removal visit. Raises VisitRefused, TapingRefused."""
    # A therapist of its own each: the scenario says when visits are, not who is free.
    therapist = _therapist(User.objects.count() + 1)
    visit = Visit(ends_at=part.starts_at + timedelta(minutes=part.minutes), purpose=Visit.Purpose.FOLLOW_UP)
    if part.application is None:
        visit_book(
            actor=company.actor,
            now=now,
            patient=company.patients[part.patient],
            therapist=therapist,
            starts_at=part.starts_at,
            visit=visit,
        )
    else:
        removal_visit_book(
            actor=company.actor,
            now=now,
            application=application_of(company, part.application),
            therapist=therapist,
            starts_at=part.starts_at,
            visit=visit,
        )
        company.visit_is_for[visit.pk] = part.application
    company.visits[part.ref] = visit.pk


def application_of(company: Company, ref: str) -> Application:
    """The tape of that name as it is stored now. Raises TapingRefused where it never went on."""
    if ref not in company.applications:
        raise TapingRefused(f"The tape {ref!a} never went on.")
    return Application.objects.select_related("patient").get(pk=company.applications[ref])


def visit_of(company: Company, ref: str) -> Visit:
    """The visit of that name as it is stored now. Raises VisitRefused where it was never booked."""
    if ref not in company.visits:
        raise VisitRefused(f"The visit {ref!a} was never booked.")
    return Visit.objects.get(pk=company.visits[ref])
