"""The glance before each pass: it never overlooks what the pass would find, and mostly saves it.

New York's 16 March 2027 begins at 04:00 UTC; a tape of 10 March is overdue from then on.
"""

import random
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest
from django.db import connection, transaction

from clinic.models import Clinic, OpeningHours, Patient, Visit
from clinic.selectors import clinic_get, recipient_of
from reminders.models import CallItem, Message, RefusedAddress
from reminders.rules.outbox import CLOCKS_DIFFER
from reminders.services import running
from reminders.services.addresses import refused_among, route_find
from reminders.services.call_conditions import moments_at, settled, unreachable
from reminders.services.call_list import Call, call_close, call_open
from reminders.services.call_tick import call_list_tick
from reminders.services.glance import Glance, _statement, glance
from reminders.services.queueing import LEASE, claim, sweep
from taping.models import Application, StripPlan
from tests.factories import (
    ApplicationFactory,
    HelperFactory,
    MessageFactory,
    PatientFactory,
    StripPlanFactory,
    VisitFactory,
)
from tests.reminders.services.conftest import Ways
from tests.reminders.services.test_call_tick import OVERDUE, STAFF

pytestmark = pytest.mark.django_db

SECOND, HOUR, DAY = timedelta(seconds=1), timedelta(hours=1), timedelta(days=1)
ALL = Glance(plan=True, messages=True, calls=True)
NOTHING = Glance(plan=False, messages=False, calls=False)


def plan_all() -> None:
    """Leave nothing to plan."""
    for model in (Clinic, Patient, Visit, Application):
        model._default_manager.update(plan_version=1, planned_version=1)


def calls_as_they_are() -> list[tuple[object, ...]]:
    return list(CallItem.objects.order_by("pk").values_list("pk", "closed_at", "closed_how", "key"))


def test_an_idle_pass_asks_four_questions(ways: Ways, now: datetime, django_assert_num_queries: object) -> None:
    for number in (0, 12):
        for _ in range(number):
            ApplicationFactory(removal_day=now.date())
        plan_all()
        with django_assert_num_queries(4):  # type: ignore[operator]
            assert ways.run(now).drained


class TestWhatWakesThePass:
    @pytest.mark.parametrize("model", [Clinic, Patient, Visit, Application])
    def test_a_version_that_was_raised_without_any_signal(self, clinic: Clinic, now: datetime, model: type) -> None:
        ApplicationFactory()
        VisitFactory()
        plan_all()
        assert glance(now) == NOTHING
        model._default_manager.update(plan_version=2)  # type: ignore[attr-defined]
        assert glance(now) == Glance(plan=True, messages=False, calls=False)

    def test_a_clinic_that_was_never_set_up_has_nothing_to_pass_on(self, now: datetime) -> None:
        assert glance(now) == NOTHING

    def test_a_message_from_the_moment_it_is_due(self, clinic: Clinic, now: datetime) -> None:
        MessageFactory(planned_for=now + SECOND)
        plan_all()
        assert [glance(now + late * SECOND).messages for late in (0, 1, 2)] == [False, True, True]

    def test_one_that_became_useless_during_an_outage(self, clinic: Clinic, now: datetime) -> None:
        row = MessageFactory()
        plan_all()
        assert glance(row.expires_at + 9 * DAY).messages

    @pytest.mark.parametrize("state", ["claimed", "sending"])
    @pytest.mark.parametrize(
        ("after", "seen"),
        [(59 * SECOND, False), (60 * SECOND, True), (-CLOCKS_DIFFER, False), (-CLOCKS_DIFFER - SECOND, True)],
    )
    def test_a_lease_that_ran_out_or_was_given_before_the_clock_was_set_back(
        self, clinic: Clinic, now: datetime, state: str, after: timedelta, seen: bool
    ) -> None:
        MessageFactory(state=state, lease_until=now + LEASE, token=uuid4())
        plan_all()
        assert glance(now + after).messages is seen

    def test_one_that_may_kill_its_worker(self, clinic: Clinic, now: datetime) -> None:
        MessageFactory(claims=5)
        plan_all()
        assert glance(now).messages

    def test_a_safety_message_to_be_repeated(self, clinic: Clinic, now: datetime) -> None:
        MessageFactory(state="uncertain", wake_at=now + SECOND)
        plan_all()
        assert [glance(now + late * SECOND).messages for late in (0, 1)] == [False, True]

    def test_the_first_tick_after_midnight(self, clinic: Clinic) -> None:
        ApplicationFactory()
        plan_all()
        assert [glance(at).calls for at in (OVERDUE - SECOND, OVERDUE, OVERDUE + 3 * DAY)] == [False, True, True]

    @pytest.mark.parametrize("zone", ["Pacific/Kiritimati", "Asia/Kolkata", "Europe/London", "Pacific/Pago_Pago"])
    def test_midnight_of_the_zone_the_clinic_has_now(self, clinic: Clinic, zone: str) -> None:
        ApplicationFactory()
        Clinic.objects.update(time_zone=zone)
        plan_all()
        midnight = datetime(2027, 3, 16, tzinfo=clinic_get().zone).astimezone(UTC)
        assert [glance(at).calls for at in (midnight - SECOND, midnight)] == [False, True]

    def test_closing_time_as_it_is_now(self, clinic: Clinic, now: datetime) -> None:
        """A draft of 10:00 is asked about at 18:00, or at noon once the clinic closes then."""
        StripPlanFactory()
        noon = now + 2 * HOUR
        assert [glance(at).calls for at in (noon, now + 8 * HOUR - SECOND, now + 8 * HOUR)] == [False, False, True]
        OpeningHours.objects.update(closes="12:00")
        assert [glance(at).calls for at in (noon - SECOND, noon)] == [False, True]
        OpeningHours.objects.all().delete()
        assert [glance(at).calls for at in (noon, now + 8 * HOUR)] == [False, True]


def routes() -> Iterator[tuple[bool, str, str, str]]:
    for consents in (True, False):
        for helper in ("none", "phone", "no address", "gets nothing"):
            for address in ("both", "phone", "email", "none"):
                for refused in ("", "phone", "email", "both", "helper"):
                    yield consents, helper, address, refused


def test_who_can_be_reached_is_the_same_in_the_database_and_in_python(clinic: Clinic, now: datetime) -> None:
    for consents, helper, address, refused in routes():
        with transaction.atomic():
            patient = PatientFactory(consents=consents)
            patient.phone = patient.phone if address in ("both", "phone") else ""
            patient.email = patient.email if address in ("both", "email") else ""
            patient.save()
            if helper != "none":
                phone = "" if helper == "no address" else "+12125550177"
                HelperFactory(patient=patient, gets_messages=helper != "gets nothing", phone=phone)
            for channel, value, when in (
                ("sms", patient.phone, ("phone", "both")),
                ("email", patient.email, ("email", "both")),
                ("sms", "+12125550177", ("helper",)),
            ):
                if refused in when:
                    RefusedAddress.objects.create(channel=channel, address=value, since=now)
            tape = ApplicationFactory(patient=patient, removal_day=now.date())
            at = moments_at(now, clinic.zone, {})
            fresh = Patient.objects.get(pk=patient.pk)
            reached = route_find(recipient_of(fresh), refused=refused_among([fresh])) is not None
            assert unreachable(at).exists() is not (consents and reached)
            CallItem.objects.create(patient=fresh, application=tape, reason="unreachable", key="k", since=now)
            assert settled()["can be reached again"].exists() is (consents and reached)
            transaction.set_rollback(True)


class World:
    """Patients, tapes, drafts, messages and calls in any state whatever, drawn by chance."""

    def __init__(self, seed: int, now: datetime) -> None:
        self.chance = random.Random(seed)
        self.now = now
        for _ in range(4):
            self._patient()
        if self.chance.random() < 0.3:
            OpeningHours.objects.update(closes=self.chance.choice(["11:00", "13:30", "23:00"]))
        if self.chance.random() < 0.3:
            Clinic.objects.update(time_zone=self.chance.choice(["Asia/Tokyo", "Pacific/Kiritimati", "UTC"]))

    def _some(self, days: int) -> datetime:
        return self.now + timedelta(seconds=self.chance.randrange(-days * 86400, 86400 // 4))

    def _patient(self) -> None:
        chance = self.chance
        patient = PatientFactory(consents=chance.random() < 0.6)
        if chance.random() < 0.4:
            patient.consent_withdrawn_at = self._some(9)
        for field, channel in (("phone", "sms"), ("email", "email")):
            if chance.random() < 0.3:
                RefusedAddress.objects.create(channel=channel, address=getattr(patient, field), since=self.now)
            if chance.random() < 0.3:
                setattr(patient, field, "")
        patient.save()
        if chance.random() < 0.2:
            HelperFactory(
                patient=patient, gets_messages=chance.random() < 0.7, phone=chance.choice(["", "+12125550177"])
            )
        plan = StripPlanFactory(screen__patient=patient, made_at=self._some(9))
        taped = chance.random() < 0.7
        tape = self._tape(patient, plan) if taped else None
        StripPlan.objects.filter(pk=plan.pk).update(closed_at=chance.choice([None, None, self.now]))
        if tape is not None:
            for ordinal in range(chance.randrange(4)):
                self._message(tape, ordinal + 1)
        for reason in CallItem.Reason.values:
            if chance.random() < 0.4:
                self._item(patient, tape, reason)

    def _tape(self, patient: Patient, plan: StripPlan) -> Application:
        applied_at, ended = self._some(9), self.chance.random() < 0.3
        ending = {"ended_at": applied_at + HOUR, "ended_how": "off"} if ended else {}
        made: Application = ApplicationFactory(patient=patient, plan=plan, applied_at=applied_at, **ending)
        return made

    def _message(self, tape: Application, ordinal: int) -> None:
        chance, planned_for = self.chance, self._some(9)
        state = chance.choice(Message.State.values)
        MessageFactory(
            application=tape,
            ordinal=ordinal,
            planned_for=planned_for,
            state=state,
            safety=chance.random() < 0.5,
            attempts=chance.randrange(2),
            repeats=chance.randrange(2),
            claims=chance.randrange(5),
            refused_on=chance.choice(["", "sms"]),
            lease_until=planned_for + LEASE if state in ("claimed", "sending") else None,
            settled_at=planned_for if state in ("failed", "uncertain") else None,
        )

    def _item(self, patient: Patient, tape: Application | None, reason: str) -> None:
        message = tape.messages.first() if tape else None
        if reason in ("undelivered", "uncertain") and message is None:
            return
        call = Call(
            patient=patient,
            reason=reason,
            since=self._some(9),
            application=None if reason == "unfinished" else tape,
            message=message if reason in ("undelivered", "uncertain") else None,
        )
        item = call_open(actor=STAFF, now=self.now, call=call)
        if self.chance.random() < 0.5:
            call_close(now=self._some(9), item=item, how="spoke", actor=STAFF)


@pytest.mark.parametrize("seed", range(12))
def test_it_sees_exactly_what_the_pass_would_do(clinic: Clinic, now: datetime, seed: int) -> None:
    """In any state and at any moment: where it says no, the whole pass changes nothing; where it says yes, it does."""
    world = World(seed, now)
    plan_all()
    for hours in (-1, 0, 1, 3.5, 8, 14, 24, 150):
        at = now + hours * HOUR
        seen = glance(at)
        with transaction.atomic():
            before = calls_as_they_are()
            call_list_tick(at)
            assert (calls_as_they_are() != before) is seen.calls, (seed, hours, world)
            transaction.set_rollback(True)
        with transaction.atomic():
            rows = list(Message.objects.order_by("pk").values_list("pk", "state", "token"))
            sweep(at)
            claim(at)
            changed = rows != list(Message.objects.order_by("pk").values_list("pk", "state", "token"))
            assert changed is seen.messages, (seed, hours)
            transaction.set_rollback(True)


@pytest.mark.parametrize("seed", range(4))
def test_days_of_ticks_end_the_same_with_and_without_it(
    ways: Ways, now: datetime, monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    """Every call opens and every message goes at the same tick as where each tick makes the whole pass."""

    def course() -> list[tuple[object, ...]]:
        with transaction.atomic():
            World(seed, now)
            for minutes in range(0, 40 * 60, 75):
                ways.run(now + minutes * timedelta(minutes=1))
            calls = CallItem.objects.values_list("reason", "since", "closed_at", "patient__full_name")
            rows = Message.objects.values_list("kind", "state", "settled_at", "wake_at")
            first = Patient.objects.order_by("pk").values_list("full_name", flat=True)
            names = {name: number for number, name in enumerate(first)}
            told = [(*one[:3], names[one[3]]) for one in calls] + list(rows)
            transaction.set_rollback(True)
        return sorted(told, key=str)

    with_it = course()
    monkeypatch.setattr(running, "glance", lambda now: ALL)
    assert (with_it, bool(with_it)) == (course(), True)


def test_no_question_of_an_idle_tick_reads_a_whole_table(clinic: Clinic, now: datetime) -> None:
    """By SQLite's own account of how it answers."""
    if connection.vendor != "sqlite":
        pytest.skip("how SQLite answers is asked of SQLite")
    sql, values, _ = _statement("sqlite", ("plan", "messages", "calls"))
    with connection.cursor() as cursor:
        cursor.execute(
            f"EXPLAIN QUERY PLAN {sql}", ["2027-03-10" if not isinstance(v, (str, int)) else v for v in values]
        )
        steps = [row[3] for row in cursor.fetchall()]
    assert [step for step in steps if step.startswith("SCAN") and "INDEX" not in step and "CONSTANT" not in step] == []


def _many(tape: Application, state: str, days: int, number: int) -> Iterator[Message]:
    first = Message.objects.filter(application=tape).count() + 1
    for ordinal in range(first, first + number):
        at = tape.applied_at + days * DAY
        settled = None if state == "planned" else at
        yield Message(
            patient=tape.patient, application=tape, subject=f"application:{tape.pk}", kind="skin_check",
            ordinal=ordinal, safety=ordinal % 2 == 0, planned_for=at, wake_at=at, expires_at=at + DAY,
            state=state, settled_at=settled,
        )  # fmt: skip


def test_an_idle_pass_does_not_work_more_where_many_messages_went_or_are_to_come(
    clinic: Clinic, now: datetime, ways: Ways
) -> None:
    """In SQLite's own steps, of which a walk through the rows would take several for each."""
    if connection.vendor != "sqlite":
        pytest.skip("SQLite counts its steps")
    tape = ApplicationFactory()
    plan_all()
    call = Call(patient=tape.patient, reason="undelivered", since=now, application=tape)
    call_open(actor=STAFF, now=now, call=call)
    steps = []
    for number in (10, 600):
        for state, days in (("planned", 900), ("sent", -30), ("dropped", -30), ("failed", -30)):
            Message.objects.bulk_create(_many(tape, state, days, number))
        counted: list[None] = []
        connection.connection.set_progress_handler(lambda into=counted: into.append(None), 1)
        assert ways.run(now).drained
        connection.connection.set_progress_handler(None, 1)
        steps.append(len(counted))
    assert 0 < steps[1] < steps[0] + 200, steps
