"""A clerk who saves, a list that is written, the engine at work: at once, and nobody undoes or stops another."""

import threading
from collections.abc import Callable
from datetime import date, datetime

import pytest
from django.db import connection

from clinic.models import Clinic, Patient, PatientImport
from clinic.services.events import Actor
from clinic.services.import_writing import import_write
from clinic.services.imports import import_begin, import_check, import_choose
from clinic.services.patients import PatientChanged, patient_change
from reminders.models import Message
from reminders.services.replies import reply_receive
from reminders.services.running import run_due
from taping.models import Application
from tests.factories import ApplicationFactory
from tests.reminders.services.conftest import Ways

pytestmark = pytest.mark.django_db(transaction=True)
ACTOR = Actor(word="test")
ROUNDS = 25


def test_a_pass_while_a_form_is_open_is_not_undone_by_saving_it(ways: Ways, now: datetime) -> None:
    tape: Application = ApplicationFactory(applied_at=now)
    opened = Patient.objects.get(pk=tape.patient_id)
    run_due(lambda: now, transports={"sms": ways.sms, "email": ways.email})
    sent = Message.objects.filter(state="sent").count()
    assert (sent, Patient.objects.get(pk=opened.pk).planned_version) == (1, opened.plan_version)
    patient_change(actor=ACTOR, now=now, patient=opened, values={"note": "rings twice"}, version=opened.version)
    saved = Patient.objects.get(pk=opened.pk)
    assert (saved.planned_version, saved.plan_version) == (opened.plan_version, opened.plan_version + 1)
    run_due(lambda: now, transports={"sms": ways.sms, "email": ways.email})
    stored = Patient.objects.get(pk=opened.pk)
    assert (stored.note, stored.planned_version) == ("rings twice", stored.plan_version)
    assert Message.objects.filter(state="sent").count() == sent


@pytest.mark.usefixtures("ways")
def test_a_stop_that_came_while_a_form_was_open_stands(now: datetime) -> None:
    tape: Application = ApplicationFactory(applied_at=now)
    opened = Patient.objects.get(pk=tape.patient_id)
    assert (opened.consents, bool(opened.phone)) == (True, True)
    reply_receive(now=now, number=opened.phone, text="STOP")
    with pytest.raises(PatientChanged):
        patient_change(actor=ACTOR, now=now, patient=opened, values={"consents": True}, version=opened.version)
    assert Patient.objects.get(pk=opened.pk).consents is False


def test_three_who_write_at_once_all_get_through(clinic: Clinic, ways: Ways, now: datetime) -> None:
    """On SQLite a transaction that waits for its turn waits; it is never answered "database is locked"."""
    tape: Application = ApplicationFactory(applied_at=now)
    turns = iter(range(ROUNDS))

    def save() -> None:
        for number in range(ROUNDS):
            current = Patient.objects.get(pk=tape.patient_id)
            values = {"note": f"note {number}"}
            patient_change(actor=ACTOR, now=now, patient=current, values=values, version=current.version)

    def read_lists() -> None:
        for number in turns:
            lines = "".join(f"Person {number} {line},1985-03-04\n" for line in range(40))
            of = import_begin(actor=ACTOR, now=now, file_name="a.csv", pieces=[b"name,born\n" + lines.encode()])
            of = import_choose(actor=ACTOR, now=now, of=of, codec="", delimiter=",", mapping=None, order=None)
            import_write(actor=ACTOR, now=now, of=import_check(of=of, today=date(2027, 3, 10), chunks=2))

    def send() -> None:
        for _ in range(ROUNDS):
            run_due(lambda: now, transports={"sms": ways.sms, "email": ways.email})

    assert faults_of(save, read_lists, send) == []
    assert Patient.objects.get(pk=tape.patient_id).note == f"note {ROUNDS - 1}"
    assert Patient.objects.filter(full_name__startswith="Person ").count() == ROUNDS * 40
    assert PatientImport.objects.filter(state="written").count() == ROUNDS
    assert Message.objects.filter(state="sent").count() == 1


def faults_of(*acts: Callable[[], None]) -> list[str]:
    """Each in a thread and with a connection of its own, all beginning together; what went wrong in any."""
    begin, faults = threading.Barrier(len(acts)), list[str]()

    def run(act: Callable[[], None]) -> None:
        try:
            begin.wait()
            act()
        except Exception as fault:  # noqa: BLE001  # whatever it is, the test shows it
            faults.append(f"{act.__name__}: {fault!r}")
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(act,)) for act in acts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(120)
    return faults
