"""An invented clinic after years: so many patients, tapes, visits and messages, spread over its days.

Every clinic day holds as many tapes and visits as every other, whatever the size: a clinic does not see more people
today because it has been open for longer. What grows is what lies behind. Days are UTC, and every one is a working day.
"""

import hashlib
import math
import random
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from django.db import models, transaction
from django.db.models import Max

from clinic.models import Clinic, Event, Helper, OpeningHours, Patient, User, Visit
from clinic.rules.text import find_key
from reminders.bench import stock
from reminders.bench.bulk import numbers_go_on, rows_put, statistics_new, without_indexes
from reminders.bench.outcome import Tape, messages_of, tape_of
from reminders.models import CallItem, Link, Message
from reminders.services.links import OPEN_AFTER_WINDOW, link_token
from taping.models import Application, PainScore, SkinReport, SkinScreen, Strip, StripPlan
from taping.rules.places import REGIONS
from taping.rules.skin import QUESTIONS

SLOTS = 20
"""Visits of half an hour that one therapist has from 08:00 to 18:00."""
DAYS_AHEAD = 7
_DAY = timedelta(days=1)
_GIVEN = (
    "Ada", "Bo", "Cleo", "Dag", "Élodie", "Finn", "Gwen", "Hugo", "Ines", "Jörn", "Kaia", "Lev", "Mira", "Nils",
    "Orla", "Per", "Quin", "Rhea", "Sol", "Tove",
)  # fmt: skip
_PARTS = (
    "al", "bar", "cor", "den", "fel", "gri", "har", "jun", "kes", "lor", "mar", "nit", "os", "pel", "qui", "rov",
    "sten", "tam", "ul", "vern", "wik", "yar", "zel",
)  # fmt: skip
_FILLED: tuple[type[models.Model], ...] = (
    Patient, Helper, Visit, SkinScreen, StripPlan, Strip, Application, Link, Message, SkinReport, CallItem, PainScore,
    Event,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Size:
    """How much there is; tapes_a_day and visits_a_day are the same for a part of a clinic and for the whole."""

    patients: int
    tapes: int
    visits: int
    tapes_a_day: int
    visits_a_day: int

    @property
    def therapists(self) -> int:
        return math.ceil(self.visits_a_day / SLOTS)


def crowd_begin(size: Size) -> None:
    """The clinic and its staff; dana is at the desk, mona may see everything, thea is a therapist."""
    thea = stock.clinic_make()
    Clinic.objects.update(wear_first_day=4, wear_last_day=5)
    OpeningHours.objects.bulk_create([OpeningHours(weekday=day, opens="08:00", closes="18:00") for day in (5, 6)])
    User.objects.bulk_create(
        [
            User(username="dana", full_name="Dana Desk", is_front_desk=True),
            User(username="mona", full_name="Mona Holm", is_manager=True, is_therapist=True, is_front_desk=True),
            *(
                User(username=f"thea{number}", full_name=f"Thea Pist {number}", is_therapist=True)
                for number in range(2, size.therapists + 1)
            ),
        ]
    )
    assert thea.pk  # noqa: S101


def crowd_fill(size: Size, *, beside: Size | None, now: datetime) -> None:
    """Fill up to size; beside: what is there already. now: aware UTC."""
    before = beside or Size(0, 0, 0, size.tapes_a_day, size.visits_a_day)
    part = _Part(size, before, now)
    with transaction.atomic(), without_indexes([model._meta.db_table for model in _FILLED]):
        part.fill()
        numbers_go_on(*_FILLED)
    statistics_new()


def _after(model: type[models.Model]) -> int:
    return int(model._default_manager.aggregate(last=Max("pk"))["last"] or 0) + 1


class _Part:
    """What lies between two sizes of one clinic. A tape's number counts back from today: 0 is the newest."""

    def __init__(self, size: Size, before: Size, now: datetime) -> None:
        self.size, self.before, self.now, self.today = size, before, now, now.date()
        self.patients = size.patients - before.patients
        self.first_patient, self.first_visit = _after(Patient), _after(Visit)
        self.screen, self.plan, self.tape = _after(SkinScreen), _after(StripPlan), _after(Application)
        self.report = _after(SkinReport)
        self.staff = list(User.objects.filter(username__startswith="thea").order_by("pk").values_list("pk", flat=True))
        self.places = [(region.key, region.sides[0].value) for region in REGIONS.values()]

    def fill(self) -> None:
        self._people()
        self._visits()
        self._tapes()
        self._after_tapes()

    def tapes(self) -> Iterator[Tape]:
        for number in range(self.before.tapes, self.size.tapes):
            yield tape_of(number, a_day=self.size.tapes_a_day, now=self.now)

    def _patient(self, tape: Tape) -> int:
        return self.first_patient + (tape.number - self.before.tapes) % self.patients

    def _place(self, tape: Tape) -> tuple[str, str]:
        # the patient's next tape goes elsewhere: two at once on one place are refused
        turn = (tape.number - self.before.tapes) // self.patients
        return self.places[(self._patient(tape) + 5 * turn) % len(self.places)]

    def _own(self, first: int, tape: Tape) -> int:
        return first + tape.number - self.before.tapes

    def _therapist(self, number: int) -> int:
        return self.staff[number % len(self.staff)]

    def _people(self) -> None:
        numbers = range(self.before.patients, self.size.patients)
        long_ago = self.now - 3000 * _DAY
        rows_put(
            Patient(consents=True, consent_at=long_ago, created_at=long_ago, plan_version=1, planned_version=1),
            ("id", "full_name", "call_me", "search_text", "born", "phone", "email", "prefers", "external_id"),
            (self._person(number) for number in numbers),
        )
        rows_put(
            Helper(relation="helper", gets_messages=True, phone="+12125550199"),
            ("patient_id", "full_name"),
            ((self._person(number)[0], person_name(number + 7)) for number in numbers if number % 10 == 0),
        )

    def _person(self, number: int) -> tuple[Any, ...]:
        name = person_name(number)
        born = date(1930, 1, 1) + timedelta(days=number * 7919 % 32_000)
        pk = self.first_patient + number - self.before.patients
        channel = "email" if number % 3 else "sms"
        phone, email = person_phone(number), f"patient{number}@example.org"
        return pk, name, name.split()[0], find_key(name), born, phone, email, channel, f"N-{number:06d}"

    def _visits(self) -> None:
        rows_put(
            Visit(plan_version=1, planned_version=1, created_at=self.now, changed_at=self.now),
            ("id", "patient_id", "therapist_id", "starts_at", "ends_at", "purpose", "state", "uid"),
            map(self._visit, range(self.before.visits, self.size.visits)),
        )

    def _visit(self, number: int) -> tuple[Any, ...]:
        back, turn = divmod(number, self.size.visits_a_day)
        slot, who = divmod(turn, len(self.staff))
        day = self.today + (DAYS_AHEAD - back) * _DAY
        starts = datetime.combine(day, time(8), UTC) + slot * timedelta(minutes=30)
        ends = starts + timedelta(minutes=30)
        purpose = ("taping", "removal", "follow_up", "other")[number % 4]
        state = "booked" if ends > self.now else "did_not_attend" if number % 20 == 0 else "done"
        if number % 33 == 1:
            state = "cancelled"
        patient = self.first_patient + (number - self.before.visits) % self.patients
        pk = self.first_visit + number - self.before.visits
        return pk, patient, self.staff[who], starts, ends, purpose, state, uuid.uuid4()

    def _tapes(self) -> None:
        rows_put(
            SkinScreen(answers={question.key: "no" for question in QUESTIONS}, outcome="clear", goal="ease_pain"),
            ("id", "patient_id", "asked_by_id", "made_at", "saved_at", "region", "side"),
            (
                (self._own(self.screen, one), self._patient(one), self._therapist(one.number), one.screened_at,
                 one.screened_at, *self._place(one)) for one in self.tapes()
            ),
        )  # fmt: skip
        rows_put(
            StripPlan(goal="ease_pain", posture="sitting, knee bent"),
            ("id", "screen_id", "made_by_id", "made_at", "saved_at"),
            (
                (self._own(self.plan, one), self._own(self.screen, one), self._therapist(one.number), one.screened_at,
                 one.screened_at) for one in self.tapes()
            ),
        )  # fmt: skip
        rows_put(
            Strip(
                position=1, shape="i", start="one_end", direction="none", span_mm=300.0, paper_mm=286.0,
                anchor_first_mm=50.0, anchor_last_mm=50.0, stretch=0.25, share=0.625,
            ),
            ("plan_id",),
            ((self._own(self.plan, one),) for one in self.tapes()),
        )  # fmt: skip
        rows_put(
            Application(
                adhesion_minutes=20, water_minutes=60, first_application=False, caution=False, plan_version=1,
                planned_version=1,
            ),
            ("id", "patient_id", "plan_id", "region", "side", "therapist_id", "applied_at", "saved_at", "opens_on",
             "closes_on", "removal_day", "removal", "ended_at", "ended_how", "ended_by", "handed_over_at"),
            map(self._application, self.tapes()),
        )  # fmt: skip

    def _application(self, tape: Tape) -> tuple[Any, ...]:
        return (
            self._own(self.tape, tape), self._patient(tape), self._own(self.plan, tape), *self._place(tape),
            self._therapist(tape.number), tape.applied_at, tape.applied_at, tape.opens_on, tape.closes_on,
            tape.closes_on, "clinic" if tape.number % 20 == 3 else "home", tape.ended_at, tape.ended_how,
            "patient" if tape.ended_at else "", tape.applied_at,
        )  # fmt: skip

    def _after_tapes(self) -> None:
        rows_put(Link(generation=1), ("application_id", "purpose", "token_sha256", "expires_at"), self._links())
        rows_put(
            Message(slot=1, ordinal=1, reasons=["day 5 of the wear window"]),
            ("patient_id", "application_id", "subject", "kind", "safety", "planned_for", "wake_at", "expires_at",
             "state", "why", "channel", "address", "attempts", "key", "text", "settled_at"),
            self._messages(),
        )  # fmt: skip
        rows_put(
            PainScore(),
            ("plan_id", "moment", "score", "said_at"),
            (
                (self._own(self.plan, tape), moment, tape.number % 9, at)
                for tape in self.tapes()
                for moment, at in (("before", tape.screened_at), ("next", tape.ended_at))
                if at
            ),
        )
        rows_put(
            Event(verb="patient.read", subject_type="patient", fields=[]),
            ("at", "actor_id", "subject_id", "patient_id"),
            (
                (tape.applied_at, self._therapist(tape.number), str(self._patient(tape)), self._patient(tape))
                for tape in self.tapes()
                for _ in range(2)
            ),
        )
        self._what_came_back()

    def _what_came_back(self) -> None:
        told = [tape for tape in self.tapes() if tape.reported_at]
        numbers = {tape.number: self.report + place for place, tape in enumerate(told)}
        rows_put(
            SkinReport(signs=["itching"], urgency="today", reported_by="patient"),
            ("id", "patient_id", "application_id", "reported_at", "closed_at"),
            (
                (numbers[tape.number], self._patient(tape), self._own(self.tape, tape), tape.reported_at,
                 None if tape.report_is_open else tape.ended_at) for tape in told
            ),
        )  # fmt: skip
        rows_put(
            CallItem(words="It itches a little.", tries=0),
            ("patient_id", "application_id", "report_id", "reason", "key", "since", "closed_at", "closed_how"),
            (
                (self._patient(tape), self._own(self.tape, tape), numbers.get(tape.number),
                 "skin_report" if tape.reported_at else "overdue", f"tape:{self._own(self.tape, tape)}",
                 tape.reported_at or self.now - _DAY, None if tape.report_is_open or tape.is_overdue else tape.ended_at,
                 "" if tape.report_is_open or tape.is_overdue else "sorted_out")
                for tape in self.tapes() if tape.reported_at or tape.is_overdue
            ),
        )  # fmt: skip

    def _links(self) -> Iterator[tuple[Any, ...]]:
        of = Application(link_generation=1)
        for tape in self.tapes():
            of.pk = self._own(self.tape, tape)
            ends = datetime.combine(tape.closes_on + _DAY, time(), UTC) + OPEN_AFTER_WINDOW
            for purpose in Link.Purpose.values:
                yield of.pk, purpose, hashlib.sha256(link_token(of, purpose).encode()).hexdigest(), ends

    def _messages(self) -> Iterator[tuple[Any, ...]]:
        for tape in self.tapes():
            patient, own = self._patient(tape), self._own(self.tape, tape)
            address, channel = f"patient{patient}@example.org", "email" if patient % 3 else "sms"
            for said in messages_of(tape, now=self.now):
                gone = said.state == "sent"
                yield (
                    patient, own, f"application:{own}", said.kind, said.safety, said.at, said.at,
                    said.at + timedelta(hours=12), said.state, said.why, channel if gone else "",
                    address if gone else "", int(gone), uuid.uuid4(), said.text, said.at if gone else None,
                )  # fmt: skip


def person_name(number: int) -> str:
    """An invented name; a few are shared by two people, as names are."""
    choose = random.Random(number % 45_000)
    family = "".join(choose.choice(_PARTS) for _ in range(3)).capitalize()
    if number % 50 == 0:
        family = f"O'{family}"
    return f"{choose.choice(_GIVEN)} {family}"


def person_phone(number: int) -> str:
    """A number of the kind that is given to nobody, 555-01xx, in an area of 201 to 989."""
    return f"+1{201 + number // 100 % 789}55501{number % 100:02d}"
