"""What the clock puts on the call list: no tape is forgotten, and nothing opens twice.

The window of a tape of 10 March closes on 15 March; New York's 16 March begins at 04:00 UTC.
"""

from datetime import UTC, datetime, timedelta

import pytest

from clinic.models import Clinic, Patient
from clinic.services.events import Actor
from clinic.services.patients import patient_consent
from reminders.models import CallItem, Message, RefusedAddress
from reminders.services.answers import answer_off
from reminders.services.call_list import Call, call_close, call_open
from reminders.services.call_tick import call_list_tick
from reminders.services.looking import NO_ROUTE
from taping.models import Application, ScreenDraft, SkinScreen, StripPlan
from taping.services.screens import screen_not_taped
from tests.factories import (
    ApplicationFactory,
    HelperFactory,
    MessageFactory,
    PatientFactory,
    ScreenFactory,
    StripPlanFactory,
)

pytestmark = pytest.mark.django_db

STAFF = Actor(word="test")
OVERDUE = datetime(2027, 3, 16, 4, tzinfo=UTC)
REMOVAL_MORNING = datetime(2027, 3, 15, 4, tzinfo=UTC)
SECOND = timedelta(seconds=1)


def opened() -> list[tuple[str, datetime]]:
    return list(CallItem.objects.filter(closed_at=None).values_list("reason", "since"))


def endings() -> list[str]:
    return list(CallItem.objects.exclude(closed_at=None).values_list("closed_how", flat=True))


@pytest.fixture
def application(clinic: Clinic) -> Application:
    made: Application = ApplicationFactory()
    return made


class TestOverdue:
    def test_it_opens_on_the_first_tick_of_the_day_after(self, application: Application) -> None:
        call_list_tick(OVERDUE - SECOND)
        assert opened() == []
        call_list_tick(OVERDUE + timedelta(minutes=3))
        assert opened() == [("overdue", OVERDUE)]
        assert CallItem.objects.get().application == application

    def test_it_opens_once(self, application: Application) -> None:
        assert [call_list_tick(OVERDUE + minute * SECOND) for minute in range(3)] == [1, 0, 0]

    def test_it_closes_when_the_tape_is_off(self, application: Application) -> None:
        call_list_tick(OVERDUE)
        Application.objects.update(ended_at=OVERDUE, ended_how="off")
        call_list_tick(OVERDUE + SECOND)
        assert (opened(), endings()) == ([], ["the tape is off"])

    def test_closed_by_mistake_it_comes_back_while_the_tape_is_on(self, application: Application) -> None:
        call_list_tick(OVERDUE)
        call_close(now=OVERDUE, item=CallItem.objects.get(), how="spoke", actor=STAFF)
        call_list_tick(OVERDUE + SECOND)
        assert opened() == [("overdue", OVERDUE)]

    def test_an_ended_tape_is_never_overdue(self, application: Application, now: datetime) -> None:
        answer_off(now=now, application=application)
        assert call_list_tick(OVERDUE) == 0


class TestUnreachable:
    def test_at_once_after_a_stop_with_tape_on(self, application: Application, now: datetime) -> None:
        at = now + timedelta(days=1)
        patient_consent(actor=STAFF, now=at, patient=application.patient, consents=False)
        call_list_tick(at)
        assert opened() == [("unreachable", at)]

    def test_without_consent_from_the_morning_of_the_removal_day(self, clinic: Clinic) -> None:
        ApplicationFactory(patient__consents=False)
        call_list_tick(REMOVAL_MORNING - SECOND)
        assert opened() == []
        call_list_tick(REMOVAL_MORNING)
        assert opened() == [("unreachable", REMOVAL_MORNING)]

    def test_without_any_address_from_the_morning_of_the_removal_day(self, clinic: Clinic) -> None:
        ApplicationFactory(patient=PatientFactory(phone="", email=""))
        assert (call_list_tick(REMOVAL_MORNING - SECOND), call_list_tick(REMOVAL_MORNING)) == (0, 1)

    def test_with_every_address_refused_as_well(self, application: Application, now: datetime) -> None:
        patient = application.patient
        for channel, address in (("sms", patient.phone), ("email", patient.email)):
            RefusedAddress.objects.create(channel=channel, address=address, since=now)
        call_list_tick(REMOVAL_MORNING)
        assert opened() == [("unreachable", REMOVAL_MORNING)]

    def test_a_helper_who_can_be_reached_is_enough(self, clinic: Clinic) -> None:
        patient = PatientFactory(phone="", email="")
        ApplicationFactory(patient=patient)
        HelperFactory(patient=patient, gets_messages=True)
        assert call_list_tick(REMOVAL_MORNING) == 0

    def test_a_stop_before_the_tape_waits_for_the_removal_day(self, clinic: Clinic, now: datetime) -> None:
        patient = PatientFactory(consents=False, consent_withdrawn_at=now - timedelta(days=9))
        ApplicationFactory(patient=patient)
        call_list_tick(now)
        assert opened() == []

    def test_it_closes_when_they_can_be_reached_again(self, application: Application, now: datetime) -> None:
        patient_consent(actor=STAFF, now=now, patient=application.patient, consents=False)
        call_list_tick(now)
        patient_consent(actor=STAFF, now=now, patient=Patient.objects.get(), consents=True)
        call_list_tick(now + SECOND)
        assert (opened(), endings()) == ([], ["can be reached again"])


class TestNotArrived:
    def row(self, now: datetime, **values: object) -> Message:
        made: Message = MessageFactory(settled_at=now, attempts=1, **values)
        return made

    def test_a_failed_message_is_called_about(self, clinic: Clinic, now: datetime) -> None:
        row = self.row(now, state="failed")
        call_list_tick(now)
        item = CallItem.objects.get()
        assert (item.reason, item.since, item.message, item.application) == ("undelivered", now, row, row.application)

    def test_one_call_is_enough_for_a_tape(self, clinic: Clinic, now: datetime) -> None:
        row = self.row(now, state="failed")
        self.row(now, state="failed", application=row.application, ordinal=2)
        assert (call_list_tick(now), call_list_tick(now)) == (1, 0)

    def test_what_was_called_about_stays_closed(self, clinic: Clinic, now: datetime) -> None:
        self.row(now, state="failed")
        call_list_tick(now)
        call_close(now=now + SECOND, item=CallItem.objects.get(), how="spoke", actor=STAFF)
        assert call_list_tick(now + 2 * SECOND) == 0

    def test_a_later_failure_is_a_new_call(self, clinic: Clinic, now: datetime) -> None:
        row = self.row(now, state="failed")
        call_list_tick(now)
        call_close(now=now + SECOND, item=CallItem.objects.get(), how="spoke", actor=STAFF)
        self.row(now + timedelta(hours=1), state="failed", application=row.application, ordinal=2)
        assert call_list_tick(now + timedelta(hours=1)) == 1

    def test_a_message_never_tried_for_want_of_an_address_is_not_undelivered(
        self, clinic: Clinic, now: datetime
    ) -> None:
        MessageFactory(state="failed", settled_at=now, why=NO_ROUTE)
        assert call_list_tick(now) == 0

    def test_a_message_the_program_could_not_make_is_called_about(self, clinic: Clinic, now: datetime) -> None:
        """Nobody was asked, nobody refused: and yet the patient was told nothing."""
        message = MessageFactory(state="failed", settled_at=now, why="the program could not make this message")
        assert call_list_tick(now) == 1
        assert CallItem.objects.get().key == f"undelivered:{message.subject}"

    def test_a_safety_message_is_repeated_before_anybody_calls(self, clinic: Clinic, now: datetime) -> None:
        row = self.row(now, state="uncertain")
        assert call_list_tick(now) == 0
        Message.objects.filter(pk=row.pk).update(repeats=1)
        call_list_tick(now)
        assert opened() == [("uncertain", now)]

    def test_one_that_can_no_longer_be_repeated_is_called_about(self, clinic: Clinic, now: datetime) -> None:
        self.row(now, state="uncertain", expires_at=now)
        assert call_list_tick(now) == 1

    def test_another_kind_is_called_about_at_once(self, clinic: Clinic, now: datetime) -> None:
        self.row(now, state="uncertain", safety=False)
        assert call_list_tick(now) == 1

    def test_it_closes_when_the_message_went_after_all(self, clinic: Clinic, now: datetime) -> None:
        row = self.row(now, state="failed")
        call_list_tick(now)
        Message.objects.filter(pk=row.pk).update(state="sent")
        call_list_tick(now + SECOND)
        assert (opened(), endings()) == ([], ["the message went"])


class TestUnfinished:
    CLOSING = datetime(2027, 3, 10, 23, tzinfo=UTC)  # 18:00 in New York

    def test_a_draft_is_asked_about_at_closing_time(self, clinic: Clinic, now: datetime) -> None:
        StripPlanFactory()
        assert (call_list_tick(self.CLOSING - SECOND), call_list_tick(self.CLOSING)) == (0, 1)
        assert opened() == [("unfinished", self.CLOSING)]

    @pytest.mark.parametrize("closed", [True, False])
    def test_it_closes_when_taped_or_put_away(self, clinic: Clinic, now: datetime, closed: bool) -> None:
        plan = StripPlanFactory()
        call_list_tick(self.CLOSING)
        if closed:
            StripPlan.objects.update(closed_at=self.CLOSING)
        else:
            ApplicationFactory(plan=plan, patient=plan.screen.patient, screen=plan.screen)
        call_list_tick(self.CLOSING + SECOND)
        assert (opened(), endings()) == ([], ["taped or put away"])

    @pytest.mark.parametrize("outcome", ["clear", "clear_with_care"])
    def test_a_screen_that_led_to_nothing_is_asked_about_too(self, clinic: Clinic, outcome: str) -> None:
        ScreenFactory(outcome=outcome)
        assert (call_list_tick(self.CLOSING - SECOND), call_list_tick(self.CLOSING)) == (0, 1)
        assert opened() == [("unfinished", self.CLOSING)]

    @pytest.mark.parametrize("outcome", ["do_not_tape", "prepare_first"])
    def test_a_screen_that_permits_no_tape_is_finished(self, clinic: Clinic, outcome: str) -> None:
        ScreenFactory(outcome=outcome)
        assert call_list_tick(self.CLOSING) == 0

    def test_screened_again_only_the_later_one_is_asked_about(self, clinic: Clinic, now: datetime) -> None:
        first = ScreenFactory()
        later = ScreenFactory(patient=first.patient, made_at=now + timedelta(minutes=5), outcome="do_not_tape")
        assert call_list_tick(self.CLOSING) == 0
        SkinScreen.objects.filter(pk=later.pk).update(outcome="clear")
        assert call_list_tick(self.CLOSING) == 1

    def test_it_closes_when_marked_as_not_taped(self, clinic: Clinic, now: datetime) -> None:
        screen = ScreenFactory()
        call_list_tick(self.CLOSING)
        screen_not_taped(actor=Actor(user=screen.asked_by), now=self.CLOSING, screen=screen, why="went home")
        call_list_tick(self.CLOSING + SECOND)
        assert (opened(), endings()) == ([], ["taped or put away"])

    def test_a_screen_entered_late_is_asked_about_on_the_day_it_was_entered(
        self, clinic: Clinic, now: datetime
    ) -> None:
        ScreenFactory(made_at=now - timedelta(days=1), saved_at=now)
        assert (call_list_tick(self.CLOSING - SECOND), call_list_tick(self.CLOSING)) == (0, 1)

    def test_a_draft_nobody_recorded_is_no_call(self, clinic: Clinic, now: datetime) -> None:
        screen = ScreenFactory(outcome="do_not_tape")
        user, place = screen.asked_by, {"region": "knee", "side": "right"}
        ScreenDraft.objects.create(
            patient=screen.patient, **place, begun_by=user, begun_at=now, saved_by=user, saved_at=now
        )
        assert call_list_tick(self.CLOSING) == 0


def test_opening_the_same_call_twice_keeps_one(application: Application, now: datetime) -> None:
    call = Call(patient=application.patient, reason="call_back", since=now, application=application)
    assert call_open(actor=STAFF, now=now, call=call) == call_open(actor=STAFF, now=now, call=call)


def test_new_words_bring_a_call_put_off_back(application: Application, now: datetime) -> None:
    call = Call(patient=application.patient, reason="call_back", since=now, application=application, words="hello")
    item = call_open(actor=STAFF, now=now, call=call)
    CallItem.objects.filter(pk=item.pk).update(try_again_at=now + timedelta(hours=2))
    again = call_open(
        actor=STAFF,
        now=now,
        call=Call(
            patient=application.patient, reason="call_back", since=now, application=application, words="it is urgent",
            urgent=True,
        ),
    )  # fmt: skip
    assert (again.try_again_at, again.words, again.urgent) == (None, "hello\nit is urgent", True)


def test_a_pass_asks_as_much_of_a_full_clinic_as_of_an_empty_one(
    clinic: Clinic, now: datetime, django_assert_num_queries: object
) -> None:
    for number in (0, 12):
        for _ in range(number):
            ApplicationFactory(removal_day=now.date())
        with django_assert_num_queries(12):  # type: ignore[operator]
            call_list_tick(now)
