"""A skin reaction outside opening hours goes to the clinic's duty address at once, whatever happens on the way."""

from datetime import datetime, timedelta

import pytest

from clinic.models import Clinic, Event, Patient
from reminders.models import CallItem, Message, RefusedAddress
from reminders.services.answers import answer_skin
from reminders.services.call_tick import call_list_tick
from reminders.services.sending_again import message_send_again
from reminders.services.stopping import patients_at
from taping.models import Application
from taping.services.applications import application_end
from tests.factories import ApplicationFactory
from tests.reminders.services.conftest import Ways, refused, silence
from tests.reminders.services.test_answers import STAFF

pytestmark = pytest.mark.django_db

OPEN, CLOSED = timedelta(0), timedelta(hours=11)  # 10:00 and 21:00 in New York: quiet hours begin


@pytest.fixture
def tape(clinic: Clinic) -> Application:
    made: Application = ApplicationFactory(patient__full_name="Ada Quillfeather", patient__call_me="Ada")
    return made


def report(tape: Application, at: datetime, *signs: str) -> None:
    answer_skin(now=at, application=tape, signs=signs or ("blister",), words="it burns behind the knee")


def duty() -> list[Message]:
    return list(Message.objects.filter(kind="duty_report").order_by("pk"))


def test_while_the_clinic_is_closed_the_duty_address_gets_a_mail_at_once(
    tape: Application, now: datetime, ways: Ways
) -> None:
    at = now + CLOSED
    report(tape, at)
    ways.run(at)
    (mail,) = [one for one in ways.email.sent if one.kind == "duty_report"]
    assert (mail.to, mail.to_name, mail.unsubscribe, mail.calendar) == ("duty@example.org", "", "", ())
    assert mail.subject == "Skin reaction, to be seen today reported while the clinic is closed"
    assert "At 21:00 a patient reported a skin reaction" in mail.text
    assert duty()[0].reasons == ["a skin reaction was reported at 21:00, outside opening hours"]


def test_the_mail_names_nobody_no_place_and_no_sign(tape: Application, now: datetime, ways: Ways) -> None:
    report(tape, now + CLOSED)
    ways.run(now + CLOSED)
    (mail,) = ways.email.sent
    whole = f"{mail.subject} {mail.text} {mail.html} {mail.from_name}"
    assert [word for word in ("Ada", "Quill", "knee", "burns", "blister", "/t/", "/u/") if word in whole] == []
    assert f"/reports/{tape.skin_reports.get().pk}/" in mail.text


@pytest.mark.parametrize(
    ("sign", "words"),
    [
        ("breathing", "The signs are those of an emergency. The patient's page said at once to call 911."),
        ("blister", "By the signs somebody has to see the patient today."),
        ("itching", "By the signs it can wait until the clinic opens; you decide."),
    ],
)
def test_it_says_how_urgent_the_signs_are(tape: Application, now: datetime, ways: Ways, sign: str, words: str) -> None:
    report(tape, now + CLOSED, sign)
    ways.run(now + CLOSED)
    assert words in ways.email.sent[0].text


def test_while_the_clinic_is_open_the_call_list_is_enough(tape: Application, now: datetime) -> None:
    report(tape, now + OPEN)
    assert (duty(), CallItem.objects.get().reason) == ([], "skin_report")


def test_without_a_duty_address_the_call_list_has_it_alone(tape: Application, now: datetime) -> None:
    Clinic.objects.update(duty_address="")
    report(tape, now + CLOSED)
    assert (duty(), CallItem.objects.count()) == ([], 1)


def test_two_reports_are_two_mails_or_one_that_says_both(tape: Application, now: datetime, ways: Ways) -> None:
    report(tape, now + CLOSED, "itching")
    report(tape, now + CLOSED + timedelta(minutes=2), "breathing")
    ways.run(now + CLOSED + timedelta(minutes=3))
    (mail,) = ways.email.sent
    assert mail.subject.startswith("Skin reaction with emergency signs")
    assert mail.text.count("/reports/") == 2
    assert [row.state for row in duty()] == ["sent", "sent"]


def test_it_goes_whatever_becomes_of_the_tape_and_of_consent(tape: Application, now: datetime, ways: Ways) -> None:
    report(tape, now + CLOSED)
    Patient.objects.update(consents=False)
    application_end(actor=STAFF, now=now + CLOSED, application=tape, how="off", ended_at=now + CLOSED, by="patient")
    ways.run(now + CLOSED)
    assert ways.email.kinds == ["duty_report"]


def test_a_busy_server_is_tried_again_and_silence_once_more_with_the_same_key(
    tape: Application, now: datetime, ways: Ways
) -> None:
    report(tape, now + CLOSED)
    ways.email.answers = [refused(451), silence(handed_over=True)]
    for minutes in range(6):
        ways.run(now + CLOSED + timedelta(minutes=minutes))
    assert (ways.email.kinds, len(ways.email.keys), len(set(ways.email.keys))) == (["duty_report"], 3, 1)


def test_a_dead_duty_address_is_shown_and_never_becomes_a_message_to_the_patient(
    tape: Application, now: datetime, ways: Ways
) -> None:
    report(tape, now + CLOSED)
    ways.email.answers = [refused(550)]
    for minutes in range(3):
        ways.run(now + CLOSED + timedelta(minutes=minutes))
    call_list_tick(now + CLOSED + timedelta(minutes=3))
    assert [one.to for one in ways.email.sent + ways.sms.sent if one.kind == "duty_report"] == []
    assert [row.state for row in duty()] == ["failed"]
    assert list(CallItem.objects.values_list("reason", flat=True)) == ["skin_report"]


def test_a_person_may_send_it_again(tape: Application, now: datetime, ways: Ways) -> None:
    report(tape, now + CLOSED)
    ways.email.answers = [refused(550)]
    for minutes in range(3):
        ways.run(now + CLOSED + timedelta(minutes=minutes))
    RefusedAddress.objects.create(channel="sms", address=tape.patient.phone, since=now, why="dead")
    message_send_again(actor=STAFF, now=now + CLOSED + timedelta(minutes=5), message=duty()[0])
    ways.run(now + CLOSED + timedelta(minutes=5))
    assert [row.state for row in duty()] == ["sent"]
    assert RefusedAddress.objects.filter(address=tape.patient.phone).exists()


def test_it_is_written_down_with_the_report_or_not_at_all(
    tape: Application, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(**kwargs: object) -> None:
        raise RuntimeError

    monkeypatch.setattr("reminders.services.answers.duty_tell", broken)
    with pytest.raises(RuntimeError):
        report(tape, now + CLOSED)
    assert (tape.skin_reports.count(), CallItem.objects.count()) == (0, 0)
    assert patients_at("sms", tape.patient.phone).exists()
    assert not Event.objects.filter(verb="duty.told").exists()
