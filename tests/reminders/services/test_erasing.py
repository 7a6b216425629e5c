"""A record erased: nobody finds the person in any table, and what statistics need is still there."""

import json
from datetime import UTC, date, datetime, timedelta

import pytest
from django.apps import apps
from django.db import connection

from clinic.models import Clinic, Event, Helper, Patient, PatientImport, User
from clinic.rules.ages import DateOrder
from clinic.services.events import Actor
from clinic.services.imports import import_begin, import_check, import_choose
from clinic.services.patients import patient_change
from reminders.models import CallItem, Link, Message, RefusedAddress
from reminders.services.erasing import EraseRefused, patient_erase
from reminders.services.running import run_due
from taping.models import Application, Correction, PainScore, ScreenDraft, SkinReport, StripEvent
from tests.factories import (
    ApplicationFactory,
    CallItemFactory,
    HelperFactory,
    MessageFactory,
    PatientFactory,
    StripFactory,
    UserFactory,
    VisitFactory,
)
from tests.factories.clinic import NOW

pytestmark = pytest.mark.django_db
SECRETS = ("zebedee", "quillfeather", "5550188", "zeb@example", "hilda", "5550199", "1961-02-03", "zz-77")
LATER = NOW + timedelta(days=30)


@pytest.fixture
def actor() -> Actor:
    return Actor(user=UserFactory(manager=True))


@pytest.fixture
def person(clinic: Clinic) -> Patient:
    """Somebody with a row in every table that can hold one, and with their name in every free text."""
    words = "Zebedee Quillfeather, zeb@example.org, +12125550188"
    zeb: Patient = PatientFactory(
        full_name="Zebedee Quillfeather", call_me="Zebedee", born=date(1961, 2, 3), phone="+12125550188",
        email="zeb@example.org", external_id="ZZ-77", note=words, interpreter=words,
    )  # fmt: skip
    HelperFactory(patient=zeb, full_name="Hilda Quillfeather", phone="+12125550199", gets_messages=True)
    tape: Application = ApplicationFactory(
        patient=zeb, ended_at=NOW + timedelta(days=4), ended_how="off", ended_by="patient", ending_note=words,
        late_reason=words, shortened_why=words, not_said_why=words, left_out_why=words, reopened_why=words,
        skin_after="no_change", removal_answers={"sees": "yes"},
    )  # fmt: skip
    plan, screen = tape.plan, tape.plan.screen
    type(screen).objects.update(note=words, late_reason=words, not_taped_why=words, answers={"pregnant": "no"})
    type(plan).objects.update(reason=words, posture=words, closed_why=words)
    strip = StripFactory(plan=plan)
    staff: User = tape.therapist
    PainScore.objects.create(plan=plan, moment="before", score=6, said_at=NOW, why=words)
    Correction.objects.create(application=tape, at=NOW, what="note", was=words, became=words, why=words)
    StripEvent.objects.create(application=tape, strip=strip, what="strip_off", at=NOW, saved_at=NOW, note=words,
                              taken_back_why=words)  # fmt: skip
    report = SkinReport.objects.create(
        patient=zeb, application=tape, reported_at=NOW, reported_by="patient", signs=["itching"], urgency="today",
        words=words, advised=words, told=words, kind="irritation", grade="mild", closed_at=NOW,
    )  # fmt: skip
    ScreenDraft.objects.create(patient=zeb, region="elbow", side="left", note=words, begun_by=staff, begun_at=NOW,
                               saved_by=staff, saved_at=NOW)  # fmt: skip
    sent = MessageFactory(application=tape, state="sent", text=words, address="+12125550188", why=words,
                          gateway_id="zeb@example", settled_at=NOW)  # fmt: skip
    MessageFactory(application=tape, kind="skin_follow_up")
    CallItemFactory(application=tape, report=report, message=sent, words=words, note=words)
    Link.objects.create(application=tape, purpose="tape", generation=1, token_sha256="0" * 64, expires_at=LATER)
    RefusedAddress.objects.create(channel="sms", address="+12125550188", since=NOW, why="no such number")
    VisitFactory(patient=zeb, starts_at=NOW, state="done", note=words)
    patient_change(actor=Actor(word="test"), now=NOW, patient=zeb, values={"note": words + "!"}, version=1)
    return Patient.objects.get(pk=zeb.pk)


def every_word() -> str:
    """All that stands in any column of any table of the database, as its own driver gives it."""
    found = []
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f"SELECT * FROM {connection.ops.quote_name(table)}")
            for row in cursor.fetchall():
                found += [json.dumps(cell, default=str, ensure_ascii=False) for cell in row]
    return "\n".join(found).lower()


def test_the_name_is_in_no_table_any_more(person: Patient, actor: Actor) -> None:
    before = every_word()
    assert [word for word in SECRETS if word not in before] == []
    patient_erase(actor=actor, now=LATER, patient=person)
    after = every_word()
    assert [word for word in SECRETS if word in after] == []


def test_every_table_about_a_person_was_tried(person: Patient) -> None:
    """So that the test above cannot pass because a table was empty."""
    empty = {
        model._meta.model_name
        for model in apps.get_models()
        if model._meta.app_label in {"taping", "reminders"} and not model.objects.exists()  # type: ignore[attr-defined]
    }
    assert empty <= {"taperoll", "lease", "stoplink", "notice", "sheetbatch", "batchsheet"}


def test_what_statistics_need_stays(person: Patient, actor: Actor) -> None:
    patient_erase(actor=actor, now=LATER, patient=person)
    tape = Application.objects.get()
    assert (tape.region, tape.side, tape.ended_how, tape.ended_by, tape.skin_after) == (
        "knee", "left", "off", "patient", "no_change",
    )  # fmt: skip
    assert (tape.ended_at, tape.opens_on, tape.removal_answers) == (
        NOW + timedelta(days=4), date(2027, 3, 14), {"sees": "yes"},
    )  # fmt: skip
    assert tape.plan.screen.answers == {"pregnant": "no"}
    assert tape.plan.strips.get().paper_mm == 286.0
    assert PainScore.objects.get().score == 6
    report = SkinReport.objects.get()
    assert (report.signs, report.kind, report.grade) == (["itching"], "irritation", "mild")
    assert Message.objects.get(kind="removal_day").state == "sent"


def test_nothing_more_is_said_or_asked(person: Patient, actor: Actor, settings: object, tmp_path: object) -> None:
    patient_erase(actor=actor, now=LATER, patient=person)
    assert Message.objects.get(kind="skin_follow_up").state == "dropped"
    assert not CallItem.objects.filter(closed_at=None).exists()
    assert (Helper.objects.count(), Link.objects.count(), ScreenDraft.objects.count()) == (0, 0, 0)
    run_due(lambda: LATER, transports={})
    assert Message.objects.filter(state="sent").count() == 1
    assert not CallItem.objects.filter(closed_at=None).exists()


def test_the_event_names_nobody(person: Patient, actor: Actor) -> None:
    patient_erase(actor=actor, now=LATER, patient=person)
    event = Event.objects.get(verb="patient.erased")
    assert (event.actor, event.at, event.patient_id, event.fields) == (actor.user, LATER, person.pk, [])


def test_the_row_says_that_it_was_erased_and_when(person: Patient, actor: Actor) -> None:
    done = patient_erase(actor=actor, now=LATER, patient=person)
    stored = Patient.objects.get()
    assert (stored.erased_at, stored.full_name, stored.consents, stored.born, stored.external_id) == (
        LATER, f"Erased record {person.pk}", False, None, None,
    )  # fmt: skip
    assert patient_erase(actor=actor, now=LATER + timedelta(days=1), patient=done).erased_at == LATER
    assert Event.objects.filter(verb="patient.erased").count() == 1


def test_others_keep_everything(person: Patient, actor: Actor) -> None:
    other = ApplicationFactory(ended_at=NOW, ended_how="off", ending_note="went well")
    RefusedAddress.objects.create(channel="email", address=other.patient.email, since=NOW, why="no such box")
    HelperFactory(patient=other.patient, phone="+12125550188")  # the same household has the same number
    name = other.patient.full_name
    patient_erase(actor=actor, now=LATER, patient=person)
    other.refresh_from_db()
    assert (other.ending_note, Patient.objects.get(pk=other.patient_id).full_name) == ("went well", name)
    assert RefusedAddress.objects.count() == 2


@pytest.mark.parametrize("how", ["tape", "report", "visit", "list"])
def test_what_is_open_keeps_it_from_being_erased(person: Patient, actor: Actor, how: str) -> None:
    before = every_word()
    if how == "tape":
        Application.objects.update(ended_at=None, ended_how="")
    elif how == "report":
        SkinReport.objects.update(closed_at=None)
    elif how == "visit":
        VisitFactory(patient=person, starts_at=LATER + timedelta(days=1))
    else:
        import_begin(actor=actor, now=NOW, file_name="a.csv", pieces=[b"name\nQuillfeather Zebedee\n"])
        _list("name,born\nZebedee  Quillfeather,1961-02-03\n", actor)
    words = {"tape": "Tape is on", "report": "skin report is open", "visit": "visit is booked", "list": "list of pat"}
    with pytest.raises(EraseRefused, match=words[how]):
        patient_erase(actor=actor, now=LATER, patient=person)
    assert Patient.objects.get(pk=person.pk).erased_at is None
    assert set(SECRETS) == {word for word in SECRETS if word in before and word in every_word()}


def test_a_list_that_was_written_forgets_the_person(person: Patient, actor: Actor) -> None:
    of = _list("name,born\nZebedee Quillfeather,1961-02-03\nAda Lovely,1990-01-01\n", actor)
    PatientImport.objects.filter(pk=of.pk).update(state=PatientImport.State.WRITTEN)
    of.parts.all().delete()
    patient_erase(actor=actor, now=LATER, patient=person)
    assert [line.values["full_name"] for line in of.judged.all()] == ["Ada Lovely"]
    assert "quillfeather" not in every_word()


def _list(text: str, actor: Actor) -> PatientImport:
    now = datetime(2027, 3, 10, tzinfo=UTC)
    of = import_begin(actor=actor, now=now, file_name="list.csv", pieces=[text.encode()])
    of = import_choose(actor=actor, now=now, of=of, codec="", delimiter=",", mapping=None, order=DateOrder.YMD)
    return import_check(of=of, today=now.date(), chunks=9)
