"""Several engines at once, a transaction that fails, and logs that give nobody away."""

import logging
import threading
from datetime import datetime, timedelta

import pytest
from django.db import connection, transaction

from clinic.logs import PrivateWords
from clinic.models import Clinic, Patient
from clinic.services.events import Actor
from clinic.services.patients import patient_consent
from clinic.services.versions import plan_raise
from clinic.signals import messages_stale
from reminders.models import Message
from reminders.services.links import link_token
from reminders.services.queueing import claim, release, sweep
from reminders.services.running import run_due
from reminders.services.subjects import subject_of
from taping.models import Application
from tests.factories import ApplicationFactory, MessageFactory
from tests.reminders.services.conftest import Ways, refused, silence

pytestmark = pytest.mark.django_db(transaction=True)

ROWS = 20


def due_rows(number: int) -> list[Message]:
    rows: list[Message] = [MessageFactory() for _ in range(number)]
    Application.objects.update(planned_version=1)
    Patient.objects.update(planned_version=1)
    return rows


def at_once(workers: int, act: object) -> list[BaseException]:
    """Run act in so many threads that all begin together, each with a connection of its own."""
    begin = threading.Barrier(workers)
    faults: list[BaseException] = []

    def work() -> None:
        try:
            begin.wait()
            act()  # type: ignore[operator]
        except Exception as fault:  # noqa: BLE001  # whatever it is, the test wants to see it
            faults.append(fault)
        finally:
            connection.close()

    threads = [threading.Thread(target=work) for _ in range(workers)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    return faults


def test_two_engines_at_once_send_each_message_once(ways: Ways, now: datetime) -> None:
    rows = due_rows(ROWS)
    faults = at_once(2, lambda: run_due(lambda: now, transports={"sms": ways.sms}))
    assert faults == []
    assert len(ways.sms.sent) == len(set(ways.sms.keys)) == ROWS
    assert Message.objects.filter(pk__in=[row.pk for row in rows], state="sent").count() == ROWS


def test_two_engines_at_once_plan_each_message_once(ways: Ways, now: datetime) -> None:
    applications = [ApplicationFactory() for _ in range(5)]
    for _ in range(3):
        for application in applications:
            plan_raise(application)
        assert at_once(3, lambda: run_due(lambda: now, transports={"sms": ways.sms})) == []
    run_due(lambda: now, transports={"sms": ways.sms})
    for application in applications:
        kinds = list(Message.objects.filter(subject=subject_of(application)).values_list("kind", "ordinal"))
        assert len(kinds) == len(set(kinds)) == 5
    assert ways.sms.kinds == ["aftercare"] * 5


def test_what_one_has_claimed_another_does_not_get(clinic: Clinic, now: datetime) -> None:
    due_rows(3)
    first, second = claim(now), claim(now)
    assert (len(first[1]), second[1]) == (3, [])


def test_what_is_given_back_can_be_claimed_again(clinic: Clinic, now: datetime) -> None:
    due_rows(2)
    token, ids = claim(now)
    assert release(token=token) == 2
    assert claim(now)[1] == ids


@pytest.mark.parametrize(("seconds", "healed"), [(59, 0), (60, 2), (-1, 0), (-5, 0), (-6, 2), (-7200, 2)])
def test_a_claim_is_free_again_when_its_lease_is_over_or_impossible(
    clinic: Clinic, now: datetime, seconds: int, healed: int
) -> None:
    due_rows(2)
    claim(now)
    at = now + timedelta(seconds=seconds)
    sweep(at)
    assert Message.objects.filter(state="planned").count() == healed


def test_a_host_whose_clock_is_a_little_behind_takes_nobody_for_dead(ways: Ways, now: datetime) -> None:
    """Two hosts never agree to the millisecond. The one behind must not send what the other is sending just now."""
    row = due_rows(1)[0]
    behind = Ways()
    ways.sms.on_send = lambda outgoing: behind.run(now - timedelta(milliseconds=20))
    ways.run(now)
    row.refresh_from_db()
    assert (row.state, row.attempts, len(ways.sms.tried), behind.sms.tried) == ("sent", 1, 1, [])


def test_a_booking_that_fails_leaves_no_message_and_no_wake_up(clinic: Clinic, now: datetime) -> None:
    woken: list[object] = []

    def hear(**kwargs: object) -> None:
        woken.append(kwargs)

    messages_stale.connect(hear)
    try:
        application = ApplicationFactory()
        with transaction.atomic():
            patient_consent(actor=Actor(word="test"), now=now, patient=application.patient, consents=False)
            transaction.set_rollback(True)
        assert woken == []
        patient_consent(actor=Actor(word="test"), now=now, patient=application.patient, consents=False)
        assert len(woken) == 1
    finally:
        messages_stale.disconnect(hear)


def test_no_transport_is_called_inside_a_transaction(ways: Ways, now: datetime) -> None:
    seen: list[bool] = []
    ways.sms.on_send = lambda outgoing: seen.append(connection.in_atomic_block)
    due_rows(2)
    ways.run(now)
    assert seen == [False, False]


@pytest.mark.parametrize(
    "answer",
    ["id", refused(451), refused(550), silence(handed_over=True), ZeroDivisionError("+12125550100 is Ada Quill's")],
)
def test_the_log_names_nobody(
    ways: Ways,
    now: datetime,
    caplog: pytest.LogCaptureFixture,
    capsys: pytest.CaptureFixture[str],
    answer: BaseException | str,
) -> None:
    row = due_rows(1)[0]
    assert row.application is not None
    ways.sms.answers = [answer]
    with caplog.at_level(logging.DEBUG):
        ways.run(now)
        ways.run(now + timedelta(minutes=2))
    written = logging.Formatter()
    assert [record for record in caplog.records if not PrivateWords().filter(record)] == []
    said = "\n".join(written.format(record) for record in caplog.records) + capsys.readouterr().err
    assert ("Traceback" in said) == isinstance(answer, ZeroDivisionError)
    for secret in (row.patient.full_name, row.patient.phone, row.patient.email, link_token(row.application), "Quill"):
        assert secret not in said
