"""Planning as a difference: what stands in the outbox after each change, and that planning again changes nothing.

Due times are those of the message table: removal at 09:00 on the removal day, overdue at 10:00 the day after the
window closed and the day after that. NOW is Wednesday 10 March 2027, 10:00 in New York (UTC-5, from 14 March UTC-4).
"""

from datetime import UTC, date, datetime, time, timedelta

import pytest
from django.db import OperationalError, transaction

from clinic.models import Clinic, Visit
from clinic.services.events import Actor
from clinic.services.patients import patient_consent
from clinic.services.versions import plan_raise
from clinic.services.visits import visit_move, visit_set_state
from reminders.models import Link, Message
from reminders.services import planning, reconciling
from reminders.services.planning import plan_application, plan_new_applications
from reminders.services.reconciling import reconcile
from reminders.services.subjects import application_facts
from taping.models import Application
from taping.services.applications import application_end
from taping.services.removal_visits import removal_visit_book
from taping.services.reopening import application_reopen_by_staff
from tests.factories import ApplicationFactory, UserFactory, VisitFactory

pytestmark = pytest.mark.django_db

STAFF = Actor(word="test")
REMOVAL_DUE = datetime(2027, 3, 15, 13, tzinfo=UTC)
OVERDUE_DUE = datetime(2027, 3, 16, 14, tzinfo=UTC)


def rows(application: Application) -> list[tuple[str, int, str, datetime]]:
    found = Message.objects.filter(subject=f"application:{application.pk}").order_by("planned_for", "ordinal")
    return [(row.kind, row.ordinal, row.state, row.planned_for) for row in found]


def only(kind: str) -> Message:
    return Message.objects.get(kind=kind)


def settle(kind: str, state: str, now: datetime) -> None:
    Message.objects.filter(kind=kind).update(state=state, settled_at=now)


def change(application: Application, now: datetime, **values: object) -> None:
    for name, value in values.items():
        setattr(application, name, value)
    application.save()
    plan_raise(application)
    reconcile(now)


def book_removal(application: Application, starts_at: datetime, now: datetime) -> Visit:
    visit = Visit(starts_at=starts_at, ends_at=starts_at + timedelta(minutes=30))
    return removal_visit_book(
        actor=STAFF, now=now, application=application, therapist=UserFactory(), starts_at=starts_at, visit=visit
    )


@pytest.fixture
def application(clinic: Clinic, now: datetime) -> Application:
    made: Application = ApplicationFactory(first_application=False)
    reconcile(now)
    return made


def test_an_application_has_its_messages(application: Application, now: datetime) -> None:
    assert rows(application) == [
        ("aftercare", 1, "planned", now),
        ("removal_day", 1, "planned", REMOVAL_DUE),
        ("removal_overdue", 1, "planned", OVERDUE_DUE),
        ("removal_overdue", 2, "planned", OVERDUE_DUE + timedelta(days=1)),
    ]


def test_every_row_says_why_when_and_whether_skin_may_suffer(application: Application) -> None:
    row = only("removal_day")
    assert (row.reasons, row.safety, row.wake_at, row.expires_at) == (
        ["day 5 of the wear window", "09:00 on the removal day"],
        True,
        REMOVAL_DUE,
        datetime(2027, 3, 16, 4, tzinfo=UTC),
    )


def test_planning_again_changes_nothing(application: Application, clinic: Clinic, now: datetime) -> None:
    before = list(Message.objects.values())
    for _ in range(3):
        plan_application(pk=application.pk, clinic=clinic, now=now)
    assert list(Message.objects.values()) == before


def test_the_version_noted_is_the_one_that_was_read(application: Application, now: datetime) -> None:
    application.refresh_from_db()
    assert application.planned_version == application.plan_version
    plan_raise(application)
    assert reconcile(now) == 1
    assert reconcile(now) == 0


def test_a_moved_removal_day_moves_the_same_row(application: Application, now: datetime) -> None:
    pk = only("removal_day").pk
    change(application, now, removal_day=date(2027, 3, 14))
    assert (only("removal_day").pk, only("removal_day").planned_for) == (pk, datetime(2027, 3, 14, 13, tzinfo=UTC))


def test_a_retry_keeps_its_time_when_the_date_stands(application: Application, now: datetime) -> None:
    later = now + timedelta(minutes=7)
    Message.objects.filter(kind="aftercare").update(wake_at=later)
    change(application, now, caution=True)
    assert only("aftercare").wake_at == later


def test_a_caution_added_later_adds_the_check_of_the_first_day(application: Application, now: datetime) -> None:
    change(application, now, caution=True)
    days = Message.objects.filter(kind="skin_check").order_by("ordinal").values_list("ordinal", "planned_for")
    assert list(days) == [(1, datetime(2027, 3, 11, 15, tzinfo=UTC)), (2, datetime(2027, 3, 12, 15, tzinfo=UTC))]


def test_the_end_drops_what_was_to_come_and_plans_the_follow_up(application: Application, now: datetime) -> None:
    settle("aftercare", "sent", now)
    ended_at = now + timedelta(days=2)
    application_end(actor=STAFF, now=ended_at, application=application, how="off", ended_at=ended_at, by="patient")
    reconcile(ended_at)
    assert [(kind, state) for kind, _, state, _ in rows(application)] == [
        ("aftercare", "sent"),
        ("skin_follow_up", "planned"),
        ("removal_day", "dropped"),
        ("removal_overdue", "dropped"),
        ("removal_overdue", "dropped"),
    ]
    assert set(Message.objects.filter(state="dropped").values_list("why", flat=True)) == {"the tape is off"}


def test_an_ending_taken_back_brings_the_reminders_back(application: Application, now: datetime) -> None:
    settle("aftercare", "sent", now)
    before = rows(application)
    application_end(actor=STAFF, now=now, application=application, how="off", ended_at=now, by="patient")
    reconcile(now)
    assert only("removal_day").state == "dropped"
    later = now + timedelta(hours=1)
    application_reopen_by_staff(actor=STAFF, now=later, application=application, why="wrong patient")
    reconcile(later)
    assert [row for row in rows(application) if row[0] != "skin_follow_up"] == before
    assert only("skin_follow_up").state == "dropped"


def test_withdrawn_consent_drops_all_and_consent_given_again_brings_back_what_is_still_of_use(
    application: Application, now: datetime
) -> None:
    settle("aftercare", "sent", now)
    patient_consent(actor=STAFF, now=now, patient=application.patient, consents=False)
    reconcile(now)
    dropped = Message.objects.filter(state="dropped")
    assert list(dropped.values_list("why", flat=True)) == ["no agreement to reminders"] * 3
    later = datetime(2027, 3, 16, 12, tzinfo=UTC)
    patient_consent(actor=STAFF, now=later, patient=application.patient, consents=True)
    reconcile(later)
    assert [state for _, _, state, _ in rows(application)] == ["sent", "dropped", "planned", "planned"]


def test_a_patient_without_consent_has_no_message_at_all(clinic: Clinic, now: datetime) -> None:
    reconcile(now)
    application = ApplicationFactory(patient__consents=False)
    reconcile(now)
    assert rows(application) == []


@pytest.mark.parametrize("state", ["sent", "missed", "uncertain", "failed"])
def test_a_settled_row_is_never_used_again(application: Application, now: datetime, state: str) -> None:
    change(application, now, removal_day=date(2027, 3, 14))
    sent_at = datetime(2027, 3, 14, 13, tzinfo=UTC)
    settle("removal_day", state, sent_at)
    change(application, sent_at, removal_day=date(2027, 3, 15))
    both = Message.objects.filter(kind="removal_day").order_by("ordinal")
    assert list(both.values_list("ordinal", "slot", "state", "planned_for")) == [
        (1, 1, state, sent_at),
        (2, 1, "planned", REMOVAL_DUE),
    ]


def test_a_day_moved_there_and_back_is_not_said_twice(application: Application, now: datetime) -> None:
    settle("removal_day", "sent", REMOVAL_DUE)
    change(application, now, removal_day=date(2027, 3, 14))
    change(application, now, removal_day=date(2027, 3, 15))
    assert sorted(Message.objects.filter(kind="removal_day").values_list("ordinal", "state")) == [
        (1, "sent"),
        (2, "dropped"),
    ]


def test_quiet_hours_changed_later_do_not_repeat_what_was_said(clinic: Clinic, now: datetime) -> None:
    evening = datetime(2027, 3, 11, 3, tzinfo=UTC)
    application = ApplicationFactory(applied_at=evening)
    reconcile(evening)
    settle("aftercare", "sent", evening + timedelta(hours=11))
    clinic.refresh_from_db()
    clinic.quiet_until = time(9)
    clinic.save()
    plan_raise(clinic)
    reconcile(evening + timedelta(hours=20))
    assert [row for row in rows(application) if row[0] == "aftercare"] == [
        ("aftercare", 1, "sent", datetime(2027, 3, 11, 13, tzinfo=UTC))
    ]


def test_a_corrected_hour_of_taping_is_told_once_more(application: Application, now: datetime) -> None:
    settle("aftercare", "sent", now)
    change(application, now + timedelta(minutes=10), applied_at=now + timedelta(minutes=10))
    assert [(row[1], row[2]) for row in rows(application) if row[0] == "aftercare"] == [(1, "sent"), (2, "planned")]


def test_a_message_being_sent_is_left_alone(application: Application, now: datetime) -> None:
    settle("aftercare", "sending", now)
    application_end(actor=STAFF, now=now, application=application, how="off", ended_at=now, by="patient")
    reconcile(now)
    assert only("aftercare").state == "sending"


def test_a_claimed_row_can_still_be_dropped(application: Application, now: datetime) -> None:
    Message.objects.filter(kind="removal_day").update(state="claimed", token="0" * 32)
    application_end(actor=STAFF, now=now, application=application, how="off", ended_at=now, by="patient")
    reconcile(now)
    assert (only("removal_day").state, only("removal_day").token) == ("dropped", None)


def test_changed_policy_reaches_every_tape_on_the_skin(application: Application, clinic: Clinic, now: datetime) -> None:
    clinic.refresh_from_db()
    clinic.optional_messages = ["removal_eve"]
    clinic.save()
    plan_raise(clinic)
    reconcile(now)
    assert only("removal_eve").planned_for == datetime(2027, 3, 14, 22, tzinfo=UTC)


def test_what_an_outage_made_too_late_is_planned_once_to_be_shown(clinic: Clinic, now: datetime) -> None:
    clinic.optional_messages = ["exercise_ok"]
    clinic.save()
    application = ApplicationFactory()
    reconcile(now + timedelta(days=1))
    assert ("exercise_ok", 1, "planned", now + timedelta(minutes=20)) in rows(application)


def test_what_was_over_before_it_was_wanted_is_not_planned(application: Application, now: datetime) -> None:
    clinic = Clinic.objects.get()
    clinic.optional_messages = ["exercise_ok"]
    clinic.save()
    plan_raise(clinic)
    reconcile(now + timedelta(days=1))
    assert not Message.objects.filter(kind="exercise_ok").exists()


def test_a_visit_before_ten_is_told_the_evening_before(application: Application, now: datetime) -> None:
    book_removal(application, datetime(2027, 3, 15, 13, 30, tzinfo=UTC), now)
    reconcile(now)
    assert only("removal_day").planned_for == datetime(2027, 3, 14, 22, tzinfo=UTC)


def test_a_visit_moved_within_its_day_moves_the_tape_s_message(application: Application, now: datetime) -> None:
    visit = book_removal(application, datetime(2027, 3, 15, 13, 30, tzinfo=UTC), now)
    reconcile(now)
    visit_move(actor=STAFF, now=now, visit=visit, starts_at=datetime(2027, 3, 15, 18, tzinfo=UTC))
    reconcile(now)
    assert only("removal_day").planned_for == REMOVAL_DUE


def test_a_visit_has_its_news_and_its_reminder(clinic: Clinic, now: datetime) -> None:
    VisitFactory(starts_at=now + timedelta(days=3), ends_at=now + timedelta(days=3, minutes=30))
    reconcile(now)
    assert list(Message.objects.values_list("kind", "planned_for")) == [
        ("visit_booked", now),
        ("visit_reminder", now + timedelta(days=2)),
    ]


def test_a_moved_visit_is_told_once_a_move(clinic: Clinic, now: datetime) -> None:
    visit: Visit = VisitFactory(starts_at=now + timedelta(days=3), ends_at=now + timedelta(days=3, minutes=30))
    reconcile(now)
    settle("visit_booked", "sent", now)
    for number in (1, 2):
        at = now + timedelta(minutes=number)
        visit = visit_move(actor=STAFF, now=at, visit=visit, starts_at=now + timedelta(days=3, hours=number))
        reconcile(at)
        settle("visit_changed", "sent", at)
    assert list(Message.objects.filter(kind="visit_changed").values_list("ordinal", "state")) == [
        (1, "sent"),
        (2, "sent"),
    ]


def test_a_cancelled_visit_says_so_and_drops_its_reminder(clinic: Clinic, now: datetime) -> None:
    visit = VisitFactory(starts_at=now + timedelta(days=3), ends_at=now + timedelta(days=3, minutes=30))
    reconcile(now)
    visit_set_state(actor=STAFF, now=now, visit=visit, state=Visit.State.CANCELLED)
    reconcile(now)
    assert sorted(Message.objects.values_list("kind", "state", "why")) == [
        ("visit_booked", "dropped", "the visit was cancelled"),
        ("visit_cancelled", "planned", ""),
        ("visit_reminder", "dropped", "the visit was cancelled"),
    ]


def test_a_visit_that_has_begun_needs_no_message(clinic: Clinic, now: datetime) -> None:
    visit = VisitFactory(starts_at=now + timedelta(hours=2), ends_at=now + timedelta(hours=3))
    reconcile(now)
    visit_set_state(actor=STAFF, now=now, visit=visit, state=Visit.State.ARRIVED)
    reconcile(now)
    assert list(Message.objects.values_list("kind", "state", "why")) == [
        ("visit_booked", "dropped", "the visit has begun or is over")
    ]


def test_a_zone_that_no_table_knows_falls_back_to_the_clinic_s(clinic: Clinic, now: datetime) -> None:
    application = ApplicationFactory(patient__time_zone="Mars/Olympus", first_application=False)
    reconcile(now)
    assert ("removal_day", 1, "planned", REMOVAL_DUE) in rows(application)


def test_a_patient_s_own_clock_is_kept(clinic: Clinic, now: datetime) -> None:
    ApplicationFactory(patient__time_zone="America/Los_Angeles", first_application=False)
    reconcile(now)
    assert only("removal_day").planned_for == datetime(2027, 3, 15, 16, tzinfo=UTC)


def test_a_subject_that_cannot_be_planned_stops_no_other(
    clinic: Clinic, now: datetime, caplog: pytest.LogCaptureFixture
) -> None:
    bad, good = ApplicationFactory(first_application=False), ApplicationFactory(first_application=False)
    Application.objects.filter(pk=bad.pk).update(ended_at=now - timedelta(days=1), ended_how="off")
    reconcile(now)
    reconcile(now)
    assert (rows(bad), len(rows(good))) == ([], 4)
    assert [record.getMessage() for record in caplog.records] == [
        f"The messages of application {bad.pk} cannot be planned"
    ]
    bad.refresh_from_db()
    assert bad.planned_version != bad.plan_version


def test_nothing_stale_costs_four_small_questions(
    application: Application, now: datetime, django_assert_num_queries: object
) -> None:
    reconcile(now)
    with django_assert_num_queries(4):  # type: ignore[operator]
        assert reconcile(now) == 0


def test_one_patient_s_change_leaves_others_alone(application: Application, now: datetime) -> None:
    other = ApplicationFactory(first_application=False)
    reconcile(now)
    before = Application.objects.get(pk=other.pk).plan_version
    patient_consent(actor=STAFF, now=now, patient=application.patient, consents=False)
    reconcile(now)
    assert Application.objects.get(pk=other.pk).plan_version == before
    assert {row[2] for row in rows(other)} == {"planned"}


class TestNewTogether:
    """Many new tapes, as there are after an outage, are planned by the page, and just as one by one."""

    def tapes(self, now: datetime) -> list[Application]:
        visit = VisitFactory(starts_at=now + timedelta(days=4, hours=6), ends_at=now + timedelta(days=4, hours=7))
        made: list[Application] = [
            ApplicationFactory(),
            ApplicationFactory(caution=True, patient__time_zone="Europe/London"),
            ApplicationFactory(patient__consents=False),
            ApplicationFactory(first_application=False, applied_at=now - timedelta(days=2)),
            ApplicationFactory(ended_at=now + timedelta(hours=1), ended_how="off"),
            ApplicationFactory(
                patient=visit.patient, removal_visit=visit, removal="clinic", removal_day=visit.starts_at.date()
            ),
        ]
        Application.objects.update(plan_version=3, planned_version=0)
        return made

    def stored(self) -> list[tuple[object, ...]]:
        ours = [*Message.objects.order_by("subject", "kind", "ordinal").values_list(
            "subject", "patient", "kind", "ordinal", "slot", "safety", "planned_for", "wake_at", "expires_at",
            "reasons", "state", "application", "visit", "why",
        )]  # fmt: skip
        links = [*Link.objects.order_by("token_sha256").values_list("application", "purpose", "generation",
                 "token_sha256", "expires_at")]  # fmt: skip
        versions = [*Application.objects.order_by("pk").values_list("pk", "plan_version", "planned_version")]
        return [*ours, *links, *versions]

    def test_they_get_the_same_rows_as_one_by_one(self, clinic: Clinic, now: datetime) -> None:
        tapes = self.tapes(now)
        with transaction.atomic():
            for tape in tapes:
                assert plan_application(pk=tape.pk, clinic=clinic, now=now)
            alone = self.stored()
            transaction.set_rollback(True)
        assert plan_new_applications(pks=[tape.pk for tape in tapes], clinic=clinic, now=now) == {
            tape.pk for tape in tapes
        }
        assert self.stored() == alone
        assert len(alone) > 20

    def test_what_has_messages_already_is_left_to_be_compared(self, clinic: Clinic, now: datetime) -> None:
        tapes = self.tapes(now)
        plan_application(pk=tapes[0].pk, clinic=clinic, now=now)
        Application.objects.update(planned_version=0)
        before = rows(tapes[0])
        planned = plan_new_applications(pks=[tape.pk for tape in tapes], clinic=clinic, now=now)
        assert planned == {tape.pk for tape in tapes[1:]}
        assert rows(tapes[0]) == before
        assert Application.objects.get(planned_version=0) == tapes[0]

    def test_many_cost_few_questions(
        self, clinic: Clinic, now: datetime, django_assert_max_num_queries: object
    ) -> None:
        pks = [ApplicationFactory().pk for _ in range(12)]
        with django_assert_max_num_queries(8):  # type: ignore[operator]
            assert len(plan_new_applications(pks=pks, clinic=clinic, now=now)) == 12

    def test_one_that_cannot_be_planned_holds_up_no_other(
        self, clinic: Clinic, now: datetime, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
    ) -> None:
        reconciling._told.clear()
        tapes = self.tapes(now)
        real = application_facts

        def facts(application: Application, of: Clinic) -> object:
            if application.pk == tapes[1].pk:
                raise ValueError("cannot be")
            return real(application, of)

        monkeypatch.setattr(planning, "application_facts", facts)
        assert reconcile(now) == len(tapes) - 1 + 1  # and the visit
        assert not Message.objects.filter(application=tapes[1]).exists()
        assert f"application {tapes[1].pk} cannot be planned" in caplog.text

    def test_an_outage_of_the_database_is_passed_on(
        self, clinic: Clinic, now: datetime, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def gone(**values: object) -> set[int]:
            raise OperationalError

        self.tapes(now)
        monkeypatch.setattr(reconciling, "plan_new_applications", gone)
        with pytest.raises(OperationalError):
            reconcile(now)
