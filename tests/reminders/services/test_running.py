"""One pass of the engine: what goes, when, once; and what happens on bad days."""

import logging
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest

from clinic.models import Patient
from clinic.services.events import Actor
from clinic.services.patients import patient_consent
from clinic.services.versions import plan_raise
from reminders.models import Message, RefusedAddress
from reminders.services.due_rows import DueMessage, due_rows
from reminders.services.running import run_due
from taping.models import Application
from taping.services.applications import application_end
from tests.factories import ApplicationFactory, HelperFactory, MessageFactory, PatientFactory
from tests.reminders.services.conftest import Ways, refused, silence

pytestmark = pytest.mark.django_db

STAFF = Actor(word="test")
MINUTE = timedelta(minutes=1)
REMOVAL_DUE = datetime(2027, 3, 15, 13, tzinfo=UTC)


def due(**values: object) -> Message:
    """A removal-day message due now, of a subject that is planned already."""
    row: Message = MessageFactory(**values)
    Application.objects.filter(messages=row).update(planned_version=1)
    Patient.objects.filter(pk=row.patient_id).update(planned_version=1)
    return row


def state(row: Message) -> tuple[str, int]:
    row.refresh_from_db()
    return row.state, row.attempts


def test_a_due_message_goes_once(ways: Ways, now: datetime) -> None:
    row = due()
    ways.run(now)
    ways.run(now + MINUTE)
    assert (state(row), ways.sms.kinds) == (("sent", 1), ["removal_day"])


def test_a_message_goes_not_a_moment_before_it_is_due(ways: Ways, now: datetime) -> None:
    row = due(planned_for=now + timedelta(milliseconds=1))
    ways.run(now)
    assert (state(row), ways.sms.tried) == (("planned", 0), [])


def test_from_the_tape_to_the_phone(ways: Ways, now: datetime) -> None:
    application = ApplicationFactory()
    report = ways.run(now)
    assert (report.tally.sent, report.drained, ways.sms.kinds) == (1, True, ["aftercare"])
    assert ways.sms.sent[0].to == application.patient.phone


def test_what_is_kept_of_a_message(ways: Ways, now: datetime) -> None:
    row = due()
    ways.sms.answers = ["gateway-77"]
    ways.run(now)
    row.refresh_from_db()
    assert (row.channel, row.address, row.gateway_id, row.settled_at, row.token) == (
        "sms", row.patient.phone, "gateway-77", now, None,
    )  # fmt: skip
    assert "[link]" in row.text
    assert "/t/" not in row.text


def test_the_key_is_the_row_s_own(ways: Ways, now: datetime) -> None:
    row = due()
    ways.run(now)
    assert ways.sms.keys == [row.key]


def test_safety_goes_first_then_the_longest_waiting(ways: Ways, now: datetime) -> None:
    for minutes, kind, safety in (
        (50, "skin_follow_up", False),
        (5, "removal_day", True),
        (9, "removal_overdue", True),
    ):
        application = ApplicationFactory()
        if kind == "skin_follow_up":
            Application.objects.filter(pk=application.pk).update(ended_at=now, ended_how="off")
        due(application=application, kind=kind, safety=safety, planned_for=now - minutes * MINUTE)
    ways.run(now)
    assert ways.sms.kinds == ["removal_overdue", "removal_day", "skin_follow_up"]


def test_more_than_one_batch_goes_in_one_pass(ways: Ways, now: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("reminders.services.queueing.BATCH", 2)
    rows = [due() for _ in range(5)]
    report = ways.run(now)
    assert (report.tally.sent, report.drained, {state(row)[0] for row in rows}) == (5, True, {"sent"})


def test_a_pass_ends_at_its_limit_and_gives_the_rest_back(ways: Ways, now: datetime) -> None:
    rows = [due() for _ in range(3)]
    ticks = iter([False, False, True, True])
    report = run_due(lambda: now, transports={"sms": ways.sms}, stop=lambda: next(ticks, True))
    assert (report.tally.sent, report.drained) == (1, False)
    assert sorted(state(row)[0] for row in rows) == ["planned", "planned", "sent"]
    assert list(Message.objects.filter(state="planned").values_list("token", "claims")) == [(None, 0), (None, 0)]


def test_the_clock_is_asked_before_each_message(ways: Ways, now: datetime) -> None:
    """A message whose use ends while earlier ones are being sent is not sent."""
    times: Iterator[datetime] = iter([now] * 4 + [now + timedelta(hours=5)] * 9)
    rows = [due(planned_for=now - MINUTE), due(planned_for=now)]
    run_due(lambda: next(times), transports={"sms": ways.sms})
    assert [state(row)[0] for row in rows] == ["sent", "missed"]


class TestOutages:
    """A scheduler that was down, and a clock that was set back."""

    def test_a_late_message_goes_once_when_the_engine_is_back(self, ways: Ways, now: datetime) -> None:
        row = due(planned_for=now)
        ways.run(now + 20 * MINUTE)
        ways.run(now + 21 * MINUTE)
        assert (state(row), len(ways.sms.sent)) == (("sent", 1), 1)

    def test_after_three_days_nothing_stale_goes(self, ways: Ways, now: datetime) -> None:
        rows = [due() for _ in range(40)]
        ways.run(now + timedelta(days=3))
        assert ({state(row) for row in rows}, ways.sms.tried) == ({("missed", 0)}, [])

    def test_the_end_of_its_use_is_exclusive(self, ways: Ways, now: datetime) -> None:
        row = due(expires_at=now + MINUTE)
        ways.run(now + MINUTE)
        assert state(row) == ("missed", 0)

    def test_a_clock_set_back_after_a_send_sends_nothing_twice(self, ways: Ways, now: datetime) -> None:
        row = due(planned_for=now - timedelta(hours=3))
        ways.run(now)
        ways.run(now - timedelta(hours=2))
        assert (state(row), len(ways.sms.sent)) == (("sent", 1), 1)

    def test_a_message_late_at_night_waits_for_the_morning(self, ways: Ways, now: datetime) -> None:
        evening = datetime(2027, 3, 11, 1, 50, tzinfo=UTC)  # 20:50 in New York
        row = due(planned_for=evening, expires_at=evening + timedelta(days=1))
        ways.run(evening + 20 * MINUTE)
        row.refresh_from_db()
        morning = datetime(2027, 3, 11, 13, tzinfo=UTC)
        assert (row.state, row.wake_at, row.planned_for) == ("planned", morning, evening)
        assert row.reasons[-1] == "moved from 21:10 to 08:00: quiet hours"
        ways.run(morning)
        assert state(row) == ("sent", 1)

    def test_a_message_of_no_use_in_the_morning_is_given_up_at_night(self, ways: Ways, now: datetime) -> None:
        evening = datetime(2027, 3, 11, 1, 50, tzinfo=UTC)
        row = due(planned_for=evening, expires_at=evening + timedelta(hours=4))
        ways.run(evening + 20 * MINUTE)
        assert (state(row), ways.sms.tried) == (("missed", 0), [])


class TestChangedPlans:
    """Workers down, the plan changes, workers up: nothing for the old time, one for the new."""

    def test_a_moved_removal_goes_at_the_new_time_only(self, ways: Ways, now: datetime) -> None:
        application = ApplicationFactory(removal_day=datetime(2027, 3, 14, tzinfo=UTC).date())
        ways.run(now)
        Application.objects.filter(pk=application.pk).update(removal_day=application.closes_on)
        plan_raise(application)
        ways.run(datetime(2027, 3, 14, 14, tzinfo=UTC))
        assert "removal_day" not in ways.sms.kinds
        ways.run(REMOVAL_DUE)
        assert ways.sms.kinds.count("removal_day") == 1

    def test_tape_off_early_silences_it(self, ways: Ways, now: datetime) -> None:
        application = ApplicationFactory()
        ways.run(now)
        application_end(actor=STAFF, now=now, application=application, how="off", ended_at=now, by="patient")
        ways.run(REMOVAL_DUE)
        assert "removal_day" not in ways.sms.kinds

    def test_withdrawn_consent_silences_it(self, ways: Ways, now: datetime) -> None:
        application = ApplicationFactory()
        ways.run(now)
        patient_consent(actor=STAFF, now=now, patient=application.patient, consents=False)
        ways.run(REMOVAL_DUE)
        assert ways.sms.kinds == ["aftercare"]

    def test_a_changed_number_gets_the_message(self, ways: Ways, now: datetime) -> None:
        row = due()
        Patient.objects.filter(pk=row.patient_id).update(phone="+12125550188")
        ways.run(now)
        assert [outgoing.to for outgoing in ways.sms.sent] == ["+12125550188"]

    def test_a_change_during_the_batch_is_seen_before_the_send(self, ways: Ways, now: datetime) -> None:
        """The second row's tape ends while the first message is under way: the last look is the database's."""
        first, second = due(planned_for=now - MINUTE), due()

        def end(outgoing: object) -> None:
            if second.application is not None and not second.application.ended_at:
                second.application = application_end(
                    actor=STAFF, now=now, application=second.application, how="off", ended_at=now, by="patient"
                )

        ways.sms.on_send = end
        ways.run(now)
        assert (state(first), state(second), len(ways.sms.tried)) == (("sent", 1), ("dropped", 0), 1)

    def test_a_row_dropped_while_claimed_does_not_go(self, ways: Ways, now: datetime) -> None:
        first, second = due(planned_for=now - MINUTE), due()
        ways.sms.on_send = lambda outgoing: Message.objects.filter(pk=second.pk).update(state="dropped", token=None)
        ways.run(now)
        assert (state(first), state(second), len(ways.sms.tried)) == (("sent", 1), ("dropped", 0), 1)


class TestFaults:
    def test_a_temporary_fault_is_tried_again_later(self, ways: Ways, now: datetime) -> None:
        row = due()
        ways.sms.answers = [refused(451)]
        ways.run(now)
        row.refresh_from_db()
        assert (row.state, row.attempts) == ("planned", 1)
        assert now + timedelta(seconds=48) <= row.wake_at <= now + timedelta(seconds=72)
        ways.run(now + 2 * MINUTE)
        assert (state(row), len(set(ways.sms.keys))) == (("sent", 2), 1)

    def test_faults_to_the_end_of_its_use_are_told_to_a_person(self, ways: Ways, now: datetime) -> None:
        row = due(application__patient__email="", expires_at=now + timedelta(seconds=30))
        ways.sms.answers = [refused(451)]
        ways.run(now)
        assert (state(row), RefusedAddress.objects.count()) == (("failed", 1), 0)

    def test_a_number_that_does_not_exist_leads_to_the_mailbox(self, ways: Ways, now: datetime) -> None:
        row = due()
        ways.sms.answers = [refused(550)]
        ways.run(now)
        row.refresh_from_db()
        assert (row.state, row.channel, row.address, row.attempts) == ("sent", "email", row.patient.email, 2)
        assert list(RefusedAddress.objects.values_list("channel", "address")) == [("sms", row.patient.phone)]

    def test_a_refused_number_is_not_tried_again_for_another_message(self, ways: Ways, now: datetime) -> None:
        row = due()
        RefusedAddress.objects.create(channel="sms", address=row.patient.phone, since=now)
        ways.run(now)
        assert (ways.sms.tried, len(ways.email.sent)) == ([], 1)

    def test_refused_on_every_channel_it_failed(self, ways: Ways, now: datetime) -> None:
        row = due()
        ways.sms.answers, ways.email.answers = [refused(550)], [refused(550)]
        ways.run(now)
        ways.run(now + MINUTE)
        assert (state(row), row.refused_on) == (("failed", 2), "sms email")

    def test_a_refused_content_does_not_flag_the_address(self, ways: Ways, now: datetime) -> None:
        due()
        ways.sms.answers = [refused(554)]
        ways.run(now)
        assert not RefusedAddress.objects.exists()

    def test_nobody_to_send_to_is_said_and_never_sent(self, ways: Ways, now: datetime) -> None:
        """No contact route is not a success."""
        row = due(application=ApplicationFactory(patient=PatientFactory(phone="", email="")))
        ways.run(now)
        assert (state(row), row.why) == (
            ("failed", 0),
            "no contact route: there is no number or address that works",
        )

    def test_a_safety_message_of_which_nothing_was_heard_goes_once_more(self, ways: Ways, now: datetime) -> None:
        row = due()
        ways.sms.answers = [silence(handed_over=True)]
        ways.run(now)
        assert state(row) == ("uncertain", 1)
        ways.run(now + MINUTE)
        assert (state(row), row.repeats, len(set(ways.sms.keys))) == (("sent", 2), 1, 1)

    def test_twice_silent_it_waits_for_a_person(self, ways: Ways, now: datetime) -> None:
        row = due()
        ways.sms.answers = [silence(handed_over=True)] * 2
        for minutes in range(5):
            ways.run(now + minutes * MINUTE)
        assert state(row) == ("uncertain", 2)

    def test_another_message_of_which_nothing_was_heard_waits_for_a_person(self, ways: Ways, now: datetime) -> None:
        application = ApplicationFactory(ended_at=now, ended_how="off")
        row = due(application=application, kind="skin_follow_up", safety=False)
        ways.sms.answers = [silence(handed_over=True)]
        for minutes in range(3):
            ways.run(now + minutes * MINUTE)
        assert state(row) == ("uncertain", 1)

    def test_silence_before_it_was_handed_over_is_only_a_delay(self, ways: Ways, now: datetime) -> None:
        row = due()
        ways.sms.answers = [silence(handed_over=False)]
        ways.run(now)
        ways.run(now + 2 * MINUTE)
        assert state(row) == ("sent", 2)

    def test_a_transport_that_breaks_leaves_the_message_uncertain(self, ways: Ways, now: datetime) -> None:
        row, other = due(), due()
        ways.sms.answers = [ZeroDivisionError()]
        ways.run(now)
        assert (state(row), state(other)) == (("uncertain", 1), ("sent", 1))


class Killed(BaseException):
    """What SIGKILL is to the code: nothing after this line runs."""


class TestCrashes:
    def test_killed_after_the_claim_nothing_is_lost(self, ways: Ways, now: datetime) -> None:
        rows = [due(planned_for=now - MINUTE), due()]
        ways.sms.answers = [Killed()]
        with pytest.raises(Killed):
            ways.run(now)
        assert [state(row)[0] for row in rows] == ["sending", "claimed"]
        ways.run(now + timedelta(seconds=59))
        assert [state(row)[0] for row in rows] == ["sending", "claimed"]
        ways.run(now + MINUTE)
        assert [state(row) for row in rows] == [("sent", 2), ("sent", 1)]
        assert len(set(ways.sms.keys)) == 2

    def test_a_message_already_accepted_is_not_sent_again_when_the_next_one_kills(
        self, ways: Ways, now: datetime
    ) -> None:
        first, second = due(planned_for=now - MINUTE), due()
        ways.sms.answers = ["id", Killed()]
        with pytest.raises(Killed):
            ways.run(now)
        ways.run(now + MINUTE)
        assert (state(first), state(second)) == (("sent", 1), ("sent", 2))

    def test_other_kinds_handed_over_by_a_killed_worker_wait_for_a_person(self, ways: Ways, now: datetime) -> None:
        application = ApplicationFactory(ended_at=now, ended_how="off")
        row = due(application=application, kind="skin_follow_up", safety=False)
        ways.sms.answers = [Killed()]
        with pytest.raises(Killed):
            ways.run(now)
        ways.run(now + 5 * MINUTE)
        assert (state(row), len(ways.sms.tried)) == (("uncertain", 1), 1)

    def test_a_lease_from_before_the_clock_was_set_back_is_dead(self, ways: Ways, now: datetime) -> None:
        row = due(planned_for=now - timedelta(hours=3), expires_at=now + timedelta(hours=3))
        Message.objects.filter(pk=row.pk).update(state="claimed", token="1" * 32, lease_until=now + MINUTE)
        ways.run(now - timedelta(hours=2))
        assert state(row) == ("sent", 1)

    def test_a_row_that_kills_its_workers_takes_no_other_along(
        self, ways: Ways, now: datetime, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """Claimed and lost three times it is taken alone and last; in the end a person is asked."""
        bad, good = due(planned_for=now - MINUTE), due()
        Message.objects.filter(pk=bad.pk).update(claims=3)

        monkeypatch.setattr("reminders.services.batches.due_rows", lambda ids, now: _kill_for(bad, ids, now))
        with pytest.raises(Killed):
            ways.run(now)
        assert (state(bad)[0], state(good)) == ("claimed", ("sent", 1))
        Message.objects.filter(pk=bad.pk).update(claims=6)
        ways.run(now + 2 * MINUTE)
        assert (state(bad), bad.why) == (("failed", 0), "taken too often without getting through")

    def test_a_row_no_words_can_be_found_for_stops_no_other(
        self, ways: Ways, now: datetime, caplog: pytest.LogCaptureFixture
    ) -> None:
        bad, good = due(kind="removal_day", planned_for=now - MINUTE), due()
        Message.objects.filter(pk=bad.pk).update(kind="nonsense")
        with caplog.at_level(logging.ERROR):
            ways.run(now)
        assert (state(bad)[0], state(good)) == ("planned", ("sent", 1))
        bad.refresh_from_db()
        assert bad.wake_at == now + 10 * MINUTE
        assert f"Message {bad.pk} could not be got through with" in caplog.text


def _kill_for(row: Message, ids: list[int], now: datetime) -> list[DueMessage]:
    if row.pk in ids:
        raise Killed
    return due_rows(ids, now)


class TestSaidTogether:
    def both(self, now: datetime, **values: object) -> tuple[Message, Message]:
        patient = PatientFactory()
        left = due(application=ApplicationFactory(patient=patient), planned_for=now, **values)
        right = due(
            application=ApplicationFactory(patient=patient, screen__side="right"),
            planned_for=now + 59 * MINUTE,
            **values,
        )
        return left, right

    def test_two_tapes_within_the_hour_are_said_once(self, ways: Ways, now: datetime) -> None:
        left, right = self.both(now)
        report = ways.run(now)
        right.refresh_from_db()
        assert (report.tally.sent, report.tally.joined, len(ways.sms.sent)) == (1, 1, 1)
        assert (state(left), state(right), right.joined_to_id) == (("sent", 1), ("sent", 0), left.pk)
        assert "left and right knee" in ways.sms.sent[0].text
        assert right.text == left.text

    def test_an_hour_apart_they_are_said_apart(self, ways: Ways, now: datetime) -> None:
        left, right = self.both(now)
        Message.objects.filter(pk=right.pk).update(wake_at=now + 60 * MINUTE, planned_for=now + 60 * MINUTE)
        ways.run(now)
        assert (state(left)[0], state(right)[0]) == ("sent", "planned")

    def test_a_wait_is_never_said_to_be_over_too_early(self, ways: Ways, now: datetime) -> None:
        left, right = self.both(now, kind="exercise_ok", safety=False)
        ways.run(now)
        assert (state(left)[0], state(right)[0]) == ("sent", "planned")

    def test_a_tape_that_is_off_is_not_spoken_of(self, ways: Ways, now: datetime) -> None:
        left, right = self.both(now)
        Application.objects.filter(messages=right).update(ended_at=now, ended_how="off")
        ways.run(now)
        assert (state(left)[0], state(right)[0]) == ("sent", "planned")
        assert "right" not in ways.sms.sent[0].text

    def test_one_that_cannot_be_put_into_words_leaves_the_other_to_go(
        self, ways: Ways, now: datetime, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        left, right = self.both(now)

        def no_words(*words: object) -> object:
            raise ZeroDivisionError

        with monkeypatch.context() as patch:
            patch.setattr("reminders.services.delivery.render", no_words)
            ways.run(now)
        assert (state(left)[0], state(right)[0]) == ("planned", "planned")
        ways.run(now + 60 * MINUTE)
        assert (state(left)[0], state(right)[0]) == ("sent", "sent")

    def test_a_fault_puts_both_off(self, ways: Ways, now: datetime) -> None:
        left, right = self.both(now)
        Message.objects.filter(pk=right.pk).update(wake_at=now)
        ways.sms.answers = [refused(451)]
        ways.run(now)
        left.refresh_from_db()
        right.refresh_from_db()
        assert (left.state, right.state, left.wake_at) == ("planned", "planned", right.wake_at)
        ways.run(now + 2 * MINUTE)
        assert (state(left), state(right), len(ways.sms.sent)) == (("sent", 2), ("sent", 0), 1)

    def test_nothing_heard_leaves_both_uncertain_and_repeats_them_as_one(self, ways: Ways, now: datetime) -> None:
        left, right = self.both(now)
        ways.sms.answers = [silence(handed_over=True)]
        ways.run(now)
        assert (state(left)[0], state(right)[0]) == ("uncertain", "uncertain")
        ways.run(now + 3 * MINUTE)
        assert (state(left), state(right), len(set(ways.sms.keys))) == (("sent", 2), ("sent", 0), 1)


def test_a_helper_gets_the_messages_of_the_one_they_help(ways: Ways, now: datetime) -> None:
    row = due()
    HelperFactory(patient=row.patient, gets_messages=True)
    ways.run(now)
    assert [(outgoing.to, "Ada's tape" in outgoing.text) for outgoing in ways.sms.sent] == [("+12125550177", True)]


def test_two_messages_of_a_batch_cost_few_questions(
    ways: Ways, now: datetime, django_assert_max_num_queries: object
) -> None:
    for _ in range(30):
        due()
    with django_assert_max_num_queries(90):  # type: ignore[operator]
        ways.run(now)
    assert len(ways.sms.sent) == 30
