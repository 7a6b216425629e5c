"""A disk that is full: under the folder of messages, and under the database. Nothing is lost, nothing goes twice."""

from collections import Counter
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from django.db import OperationalError, connection
from pytest_django import Settings

from clinic.models import Clinic, Patient
from reminders.models import CallItem, Message
from reminders.services.running import run_due
from taping.models import Application
from tests.factories import ApplicationFactory, MessageFactory
from tests.reminders.services.conftest import Ways

MINUTE = timedelta(minutes=1)


class TestFolder:
    pytestmark = pytest.mark.django_db

    @pytest.fixture
    def full(self, monkeypatch: pytest.MonkeyPatch) -> Iterator[pytest.MonkeyPatch]:
        """Until undone, no file can be finished."""

        def no_space(self: Path, target: Path) -> None:
            raise OSError(28, "No space left on device")

        with monkeypatch.context() as patch:
            patch.setattr(Path, "replace", no_space)
            yield patch

    def test_what_found_no_space_goes_once_when_there_is_some(
        self, ways: Ways, settings: Settings, tmp_path: Path, now: datetime, full: pytest.MonkeyPatch
    ) -> None:
        settings.OUTBOX_FOLDER = tmp_path
        ApplicationFactory()
        for minutes in range(3):
            run_due(lambda at=now + minutes * MINUTE: at)  # type: ignore[misc]
        row = Message.objects.get(kind="aftercare")
        assert (row.state, row.why, list(tmp_path.iterdir())) == (
            "planned", "the outbox folder cannot be written: No space left on device", [],
        )  # fmt: skip
        full.undo()
        for minutes in range(3, 20):
            run_due(lambda at=now + minutes * MINUTE: at)  # type: ignore[misc]
        row.refresh_from_db()
        assert (row.state, row.repeats, len(list(tmp_path.iterdir()))) == ("sent", 0, 1)

    @pytest.mark.usefixtures("full")
    def test_what_finds_none_within_its_use_is_told_to_a_person(
        self, ways: Ways, settings: Settings, tmp_path: Path, now: datetime
    ) -> None:
        settings.OUTBOX_FOLDER = tmp_path
        MessageFactory(expires_at=now + 5 * MINUTE)
        Application.objects.update(planned_version=1)
        Patient.objects.update(planned_version=1)
        for minutes in range(9):
            run_due(lambda at=now + minutes * MINUTE: at)  # type: ignore[misc]
        assert Message.objects.get().state == "failed"
        assert list(CallItem.objects.values_list("reason", flat=True)) == ["undelivered"]


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "sqlite", reason="SQLite can be told how large its file may grow")
class TestDatabase:
    """SQLite says "database or disk is full" for either; here its file may grow no further."""

    @pytest.fixture(autouse=True)
    def unbounded_afterwards(self) -> Iterator[None]:
        yield
        self._most_pages(1_000_000_000)

    def _most_pages(self, pages: int) -> None:
        with connection.cursor() as cursor:
            cursor.execute(f"PRAGMA max_page_count = {pages}")

    def _full(self) -> None:
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA page_count")
            pages = cursor.fetchone()[0]
        self._most_pages(pages)

    def test_what_went_while_it_filled_up_is_not_sent_again(self, clinic: Clinic, ways: Ways, now: datetime) -> None:
        number = 150
        for _ in range(number):
            MessageFactory(safety=False, kind="removal_day")
        Application.objects.update(planned_version=1)
        Patient.objects.update(planned_version=1)
        with connection.cursor() as cursor:
            cursor.execute("VACUUM")  # no free page that could be used up first

        def fill_up(outgoing: object) -> None:
            if len(ways.sms.tried) == 10:
                self._full()

        ways.sms.on_send = fill_up
        with pytest.raises(OperationalError, match="full"):
            ways.run(now)
        stopped = len(ways.sms.sent)
        assert 10 <= stopped < number
        with pytest.raises(OperationalError, match="full"):
            ways.run(now + MINUTE)
        assert len(ways.sms.sent) == stopped
        self._most_pages(1_000_000_000)
        for minutes in range(2, 6):
            ways.run(now + minutes * MINUTE)
        assert Counter(Message.objects.values_list("state", flat=True)) == {"sent": number}
        assert (len(ways.sms.tried), len(set(ways.sms.keys))) == (number, number)


@pytest.mark.skipif(connection.vendor != "postgresql", reason="about PostgreSQL's way of saying it")
def test_a_full_disk_of_postgresql_is_said_as_a_database_that_cannot_now() -> None:
    """So it is met as every other outage of the database is (SQLSTATE 53100: PostgreSQL's manual, appendix A)."""
    psycopg = pytest.importorskip("psycopg")
    full = psycopg.errors.lookup("53100")
    assert issubclass(full, psycopg.OperationalError)
    with pytest.raises(OperationalError), connection.wrap_database_errors:
        raise full("could not extend file: No space left on device")
