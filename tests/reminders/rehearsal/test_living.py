"""The coming days of a clinic: what is copied, what is played, what is shown."""

import sqlite3
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from pytest_django import Settings

from clinic.models import Clinic, Patient
from reminders.models import CallItem, Message
from reminders.rehearsal.copying import NothingToCopy, copy_file, copy_rows, load_rows
from reminders.rehearsal.living import play_days
from reminders.services.reconciling import reconcile
from taping.models import Application
from tests.factories import ApplicationFactory, CallItemFactory, HelperFactory, MessageFactory

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)


@pytest.fixture
def tape(clinic: Clinic, now: datetime) -> Application:
    """Tape that went on this morning, its messages planned."""
    made: Application = ApplicationFactory(applied_at=now - timedelta(hours=1))
    reconcile(now)
    return made


def test_the_coming_days_go_by_as_if_nobody_answered(tape: Application, now: datetime) -> None:
    """Clocks go forward on 14 March 2027: 10:00 on the 12th is 15:00 UTC, 09:00 on the 15th is 13:00 UTC."""
    lines = play_days(now=now, days=6, named=False)
    assert [(line["kind"], line["state"], line["at"]) for line in lines if line["type"] == "message"] == [
        ("aftercare", "sent", "2027-03-10T15:01:00Z"),
        ("skin_check", "sent", "2027-03-12T15:00:00Z"),
        ("removal_day", "sent", "2027-03-15T13:00:00Z"),
        ("removal_overdue", "sent", "2027-03-16T14:00:00Z"),
    ]
    assert [(line["ref"], line["state"]) for line in lines if line["type"] == "application"] == [(tape.pk, "overdue")]
    assert [(line["reason"], line["since"]) for line in lines if line["type"] == "call"] == [
        ("overdue", "2027-03-16T04:00:00Z")
    ]


def test_what_went_before_and_tape_that_was_off_is_not_shown(tape: Application, now: datetime) -> None:
    MessageFactory(application=tape, kind="visit_booked", state="sent", settled_at=now - DAY)
    ended = {"applied_at": now - 5 * DAY, "ended_at": now - 3 * DAY, "ended_how": "off"}
    ApplicationFactory(patient__full_name="Bo Lind", planned_version=1, **ended)
    lines = play_days(now=now, days=1, named=True)
    assert [(line["kind"], line["patient"]) for line in lines if line["type"] == "message"] == [
        ("aftercare", tape.patient.full_name)
    ]
    assert [line["ref"] for line in lines if line["type"] == "application"] == [f"left knee ({tape.pk})"]


def test_nothing_is_written_outside_the_copy(
    tape: Application, now: datetime, tmp_path: Path, settings: Settings
) -> None:
    settings.OUTBOX_FOLDER = tmp_path / "outbox"
    play_days(now=now, days=6, named=False)
    assert not (tmp_path / "outbox").exists()


def test_the_rows_of_a_big_database_come_over_as_they_are(tape: Application, now: datetime, tmp_path: Path) -> None:
    """For a database that is no file: the rows go through a file of JSON lines and play alike."""
    HelperFactory(patient=tape.patient, gets_messages=True)
    CallItemFactory(application=tape)
    rows = tmp_path / "rows.jsonl"
    copy_rows(rows, now)
    before = list(Message.objects.order_by("pk").values())
    CallItem.objects.all().delete()
    Message.objects.all().delete()
    Patient.objects.update(full_name="nobody")
    load_rows(rows)
    assert list(Message.objects.order_by("pk").values()) == before
    assert (CallItem.objects.count(), Patient.objects.get().full_name) == (1, tape.patient.full_name)


def test_long_past_tape_stays_where_it_is(tape: Application, now: datetime, tmp_path: Path) -> None:
    old = ApplicationFactory(applied_at=now - 90 * DAY, ended_at=now - 85 * DAY, ended_how="off")
    MessageFactory(application=old, state="sent", planned_for=now - 86 * DAY)
    rows = tmp_path / "rows.jsonl"
    copy_rows(rows, now)
    text = rows.read_text()
    assert text.count('"model": "taping.application"') == 1
    assert text.count('"model": "reminders.message"') == Message.objects.filter(application=tape).count()


def test_a_file_is_copied_while_somebody_writes_to_it(tmp_path: Path) -> None:
    source, target = tmp_path / "clinic.sqlite3", tmp_path / "copy.sqlite3"
    writing = sqlite3.connect(source)
    writing.execute("PRAGMA journal_mode=WAL")
    writing.execute("CREATE TABLE visits (id INTEGER)")
    writing.execute("INSERT INTO visits VALUES (7)")
    writing.commit()
    before = source.read_bytes()
    writing.execute("INSERT INTO visits VALUES (8)")  # not committed
    copy_file(source, target)
    copied = sqlite3.connect(target)
    assert copied.execute("SELECT id FROM visits").fetchall() == [(7,)]
    assert source.read_bytes() == before
    copied.close()
    writing.close()


def test_no_file_no_copy(tmp_path: Path) -> None:
    with pytest.raises(NothingToCopy, match=r"manage\.py demo"):
        copy_file(tmp_path / "none.sqlite3", tmp_path / "copy.sqlite3")
    assert list(tmp_path.iterdir()) == []
