"""What a patient tells the clinic: by the link, and by text."""

from datetime import datetime, timedelta

import pytest

from clinic.models import Clinic, Event
from clinic.services.events import Actor
from reminders.models import CallItem, Message
from reminders.rules.replies import Reply
from reminders.services.addresses import Route
from reminders.services.answers import answer_call_back, answer_came_off, answer_off, answer_skin
from reminders.services.replies import reply_receive
from reminders.services.stopping import start, stop, stop_by_link
from taping.models import Application
from taping.rules.report import Urgency
from taping.services.refusals import TapingRefused
from tests.factories import ApplicationFactory, CallItemFactory, HelperFactory, PatientFactory
from tests.reminders.services.conftest import Ways

pytestmark = pytest.mark.django_db

NUMBER = "+12125550142"
STAFF = Actor(word="test")


@pytest.fixture
def application(clinic: Clinic) -> Application:
    made: Application = ApplicationFactory(patient__phone=NUMBER)
    return made


def open_calls() -> list[tuple[str, str]]:
    return list(CallItem.objects.filter(closed_at=None).values_list("reason", "words"))


def text(words: str, now: datetime) -> Reply:
    return reply_receive(now=now, number=NUMBER, text=words)


class TestByLink:
    def test_it_is_off(self, application: Application, now: datetime) -> None:
        ended = answer_off(now=now, application=application)
        assert (ended.ended_at, ended.ended_how, ended.ended_by) == (now, "off", "patient")
        assert Event.objects.get(verb="application.ended").actor_word == "patient link"

    def test_it_came_off_early(self, application: Application, now: datetime) -> None:
        assert answer_came_off(now=now, application=application).ended_how == "came_off"

    def test_the_first_ending_stands(self, application: Application, now: datetime) -> None:
        answer_off(now=now, application=application)
        again = answer_came_off(now=now + timedelta(hours=1), application=application)
        assert (again.ended_at, again.ended_how) == (now, "off")

    def test_a_helper_who_gets_the_messages_is_named_as_the_one_who_said_so(
        self, application: Application, now: datetime
    ) -> None:
        HelperFactory(patient=application.patient, gets_messages=True)
        assert answer_off(now=now, application=application).ended_by == "helper"

    def test_the_end_closes_what_was_open_about_a_tape_still_on(self, application: Application, now: datetime) -> None:
        for reason in ("overdue", "unreachable", "skin_report"):
            CallItemFactory(application=application, reason=reason)
        answer_off(now=now, application=application)
        assert [reason for reason, _ in open_calls()] == ["skin_report"]
        assert set(CallItem.objects.exclude(closed_at=None).values_list("closed_how", flat=True)) == {"the tape is off"}

    def test_a_reacting_skin_is_advised_at_once_and_put_on_the_call_list(
        self, application: Application, now: datetime
    ) -> None:
        report, advice = answer_skin(now=now, application=application, signs=["breathing"], words=" It is tight. ")
        item = CallItem.objects.get()
        assert advice.urgency is Urgency.EMERGENCY
        assert (item.reason, item.words, item.urgent, item.report) == ("skin_report", "It is tight.", True, report)
        assert (item.application, item.since) == (application, now)

    def test_a_mild_sign_is_put_on_the_list_as_well(self, application: Application, now: datetime) -> None:
        answer_skin(now=now, application=application, signs=["itching"])
        assert list(CallItem.objects.values_list("reason", "urgent")) == [("skin_report", False)]

    def test_two_reports_are_two_calls(self, application: Application, now: datetime) -> None:
        for sign in ("itching", "blister"):
            answer_skin(now=now, application=application, signs=[sign])
        assert CallItem.objects.filter(closed_at=None).count() == 2

    def test_an_unknown_sign_keeps_nothing(self, application: Application, now: datetime) -> None:
        with pytest.raises(TapingRefused):
            answer_skin(now=now, application=application, signs=["nonsense"])
        assert not CallItem.objects.exists()

    def test_asking_to_be_called_twice_is_one_call_with_all_words(
        self, application: Application, now: datetime
    ) -> None:
        for words in ("after six", "after six", "or tomorrow"):
            answer_call_back(now=now, application=application, words=words)
        assert open_calls() == [("call_back", "after six\nor tomorrow")]


class TestStopAndStart:
    def test_stop_holds_for_everybody_at_the_number(self, application: Application, now: datetime) -> None:
        child = PatientFactory(phone="")
        HelperFactory(patient=child, phone=NUMBER, gets_messages=True)
        other = PatientFactory()
        assert text("STOP", now) is Reply.STOP
        for patient, consents in ((application.patient, False), (child, False), (other, True)):
            patient.refresh_from_db()
            assert patient.consents is consents
        application.patient.refresh_from_db()
        assert application.patient.consent_withdrawn_at == now

    def test_it_is_answered_once(self, application: Application, now: datetime) -> None:
        text("stop", now)
        text("Stop please!", now + timedelta(minutes=1))
        row = Message.objects.get(kind="stop_confirmed")
        assert (row.address, row.planned_for, row.expires_at) == (NUMBER, now, now + timedelta(hours=1))

    def test_the_answer_goes_at_once_also_at_night_and_nothing_else_does(
        self, ways: Ways, application: Application
    ) -> None:
        night = application.applied_at + timedelta(hours=13)
        ways.run(application.applied_at)
        text("STOP", night)
        ways.run(night)
        assert ways.sms.kinds == ["aftercare", "stop_confirmed"]
        assert ways.sms.sent[-1].to == NUMBER

    def test_a_second_stop_after_a_start_is_answered_again(self, application: Application, now: datetime) -> None:
        for words in ("STOP", "START", "STOP"):
            text(words, now)
        assert list(Message.objects.filter(kind="stop_confirmed").values_list("ordinal", flat=True)) == [1, 2]

    def test_start_brings_back_only_those_who_had_stopped(self, application: Application, now: datetime) -> None:
        never = PatientFactory(phone=NUMBER, consents=False, consent_at=None)
        text("STOP", now)
        again = start(actor=STAFF, now=now, route=Route("sms", NUMBER))
        assert again == [application.patient]
        never.refresh_from_db()
        assert not never.consents

    def test_the_link_in_a_mail_stops_the_patient_and_answers_by_mail(
        self, application: Application, now: datetime
    ) -> None:
        stopped = stop_by_link(actor=STAFF, now=now, patient=application.patient)
        row = Message.objects.get(kind="stop_confirmed")
        assert (stopped, row.channel, row.address) == ([application.patient], "email", application.patient.email)

    def test_stopping_without_any_address_is_still_stopping(self, clinic: Clinic, now: datetime) -> None:
        patient = PatientFactory(phone="", email="")
        stop(actor=STAFF, now=now, route=Route("email", ""), patient=patient)
        patient.refresh_from_db()
        assert (patient.consents, Message.objects.count()) == (False, 0)


class TestByText:
    def test_off_ends_the_one_tape_there_is(self, application: Application, now: datetime) -> None:
        assert text("OFF", now) is Reply.OFF
        application.refresh_from_db()
        assert (application.ended_at, application.ended_how) == (now, "off")

    def test_off_with_two_tapes_is_for_a_person(self, application: Application, now: datetime) -> None:
        ApplicationFactory(patient=application.patient, screen__side="right")
        text("off", now)
        application.refresh_from_db()
        assert (application.ended_at, open_calls()) == (None, [("reply", "off")])

    def test_off_without_a_tape_is_for_a_person(self, application: Application, now: datetime) -> None:
        answer_off(now=now, application=application)
        text("off", now)
        assert open_calls() == [("reply", "off")]

    def test_other_words_go_to_a_person_as_they_are(self, application: Application, now: datetime) -> None:
        text("Please stop the pain", now)
        text("it burns", now + timedelta(minutes=2))
        item = CallItem.objects.get()
        assert (item.reason, item.words, item.application) == (
            "reply", "Please stop the pain\nit burns", application,
        )  # fmt: skip

    def test_a_number_that_belongs_to_nobody_changes_nothing(
        self, application: Application, now: datetime, caplog: pytest.LogCaptureFixture
    ) -> None:
        reply_receive(now=now, number="+12125550199", text="STOP my tape")
        assert not CallItem.objects.exists()
        assert "0199" not in caplog.text
