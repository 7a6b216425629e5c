"""What the engine asks at every tick, and for every notice, is answered by an index among thousands of rows.

By the databases' own accounts, each with the costs that it reckons with. PostgreSQL counts its rows by itself; SQLite
does so only when it is told to, so it is asked before and after that.
"""

from collections.abc import Iterator
from datetime import timedelta
from typing import Any
from uuid import UUID

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from clinic.models import Clinic
from reminders.models import Message
from reminders.selectors.calls import call_items_open
from reminders.selectors.waiting import message_oldest_due
from reminders.services.answers import answer_skin
from reminders.services.queueing import _NEXT, _claim_text, claim, dead, latest_end, overtaken, repeatable
from reminders.services.statements import _adapted
from taping.models import Application
from tests.factories import ApplicationFactory
from tests.factories.clinic import NOW

pytestmark = pytest.mark.django_db

NUMBER = 6_000
STATES = ("planned", "sent", "planned", "dropped", "planned", "failed", "planned", "uncertain")
DAY = timedelta(days=1)
TABLE = Message._meta.db_table
KEY = UUID(int=4711)


@pytest.fixture(params=["counted", "not counted"])
def tape(clinic: Clinic, request: pytest.FixtureRequest) -> Application:
    """A tape, and thousands of messages: half of them are settled long ago, the others are to come in a while."""
    if request.param == "not counted" and connection.vendor == "postgresql":
        pytest.skip("PostgreSQL counts by itself")
    made: Application = ApplicationFactory()
    Message.objects.bulk_create(_rows(made), batch_size=1000)
    if request.param == "counted":
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")
    return made


def _rows(tape: Application) -> Iterator[Message]:
    for number in range(1, NUMBER + 1):
        state = STATES[number % len(STATES)]
        at = NOW + (number % 500 + 1) * DAY if state == "planned" else NOW - (number % 500 + 1) * DAY
        yield Message(
            patient=tape.patient, application=tape, subject=f"application:{number // 20}", kind="skin_check",
            ordinal=number, safety=number % 3 != 0, planned_for=at, wake_at=at, expires_at=at + DAY, state=state,
            settled_at=None if state == "planned" else at, gateway_id=f"gw-{number}" if state == "sent" else "",
            text="Look at the skin under and around the tape. " * 20, repeats=1, key=UUID(int=number),
        )  # fmt: skip


def plan(sql: str, values: Any = ()) -> str:
    """How the database answers sql."""
    head = "EXPLAIN" if connection.vendor == "postgresql" else "EXPLAIN QUERY PLAN"
    with connection.cursor() as cursor:
        cursor.execute(f"{head} {sql}", _adapted(connection, values) if isinstance(values, dict) else values)
        return "\n".join(str(row[-1]) for row in cursor.fetchall())


def reads_whole_table(found: str) -> bool:
    """Whether every message is looked at."""
    lines = [line.strip() for line in found.splitlines()]
    return any(
        f"Seq Scan on {TABLE}" in line or (line.startswith(f"SCAN {TABLE}") and "INDEX" not in line) for line in lines
    )


@pytest.mark.parametrize(
    ("name", "index"),
    [("safety", "message_due"), ("others", "message_due"), ("again", "message_uncertain"), ("suspects", "message_due")],
)
@pytest.mark.usefixtures("tape")
def test_claiming_what_is_due(name: str, index: str) -> None:
    values = {"token": KEY, "now": NOW, "until": NOW, "most": 100, "suspect": 3, "once": 1}
    found = plan(_claim_text(name, connection.features.has_select_for_update_skip_locked), values)
    # Uncertain rows are few, and may be found by their state.
    assert index in found or (name == "again" and "message_page (state=?)" in found), found
    assert not reads_whole_table(found), found


@pytest.mark.skipif(connection.vendor != "sqlite", reason="SQLite counts its steps")
def test_a_claim_takes_no_more_steps_where_more_is_to_come(clinic: Clinic) -> None:
    """Without statistics, which a small clinic's database never has. Uncertain ones are few, and left out here."""
    made, steps = ApplicationFactory(), []
    for first, last in ((1, 800), (801, NUMBER)):
        Message.objects.bulk_create(
            [row for row in _rows(made) if first <= row.ordinal <= last and row.state != "uncertain"]
        )
        counted: list[None] = []
        connection.connection.set_progress_handler(lambda into=counted: into.append(None), 1)
        assert claim(NOW)[1] == []
        connection.connection.set_progress_handler(None, 1)
        steps.append(len(counted))
    assert Message.objects.filter(state="planned").count() == NUMBER / 2
    assert 0 < steps[1] < steps[0] + 100, steps


@pytest.mark.usefixtures("tape")
def test_when_the_next_one_is_due() -> None:
    found = plan(_NEXT, {"after": NOW})
    assert found.count("message_due") == 2, found
    assert not reads_whole_table(found), found


@pytest.mark.parametrize(
    ("column", "value", "index"), [("key", KEY, "message_key"), ("gateway_id", "gw-1", "message_gateway_id")]
)
@pytest.mark.usefixtures("tape")
def test_the_message_that_a_notice_names(column: str, value: object, index: str) -> None:
    rows = Message.objects.filter(**{column: value})
    found = (rows if column == "key" else rows.exclude(gateway_id="")).explain()
    assert index in found, found
    assert not reads_whole_table(found), found


@pytest.mark.usefixtures("tape")
def test_what_a_dead_worker_left_and_what_came_too_late() -> None:
    """Asked as the engine does: in no order. Rows that are claimed or uncertain are few, and may be found as such."""
    asked = [*dead(NOW, latest_end(NOW)), overtaken(NOW), repeatable(NOW)]
    indexes = ["message_leased", "message_leased", "message_due", "message_uncertain"]
    for rows, index in zip(asked, indexes, strict=True):
        found = rows.order_by().explain()
        assert index in found or (index != "message_due" and "message_page (state=?)" in found), found
        assert not reads_whole_table(found), found


def test_the_mail_to_the_duty_address_beside_its_call(tape: Application) -> None:
    """Asked for each open call: by the unique index of subject, kind and ordinal, or by the few mails of its kind."""
    for number in range(5):
        answer_skin(now=NOW, application=tape, signs=["blister"], words=f"word {number}")
    found = call_items_open().explain()
    assert any(name in found for name in ("message_planned_once", "sqlite_autoindex", "message_of_a_kind")), found
    assert not reads_whole_table(found), found


@pytest.mark.usefixtures("tape")
def test_the_oldest_that_waits() -> None:
    with CaptureQueriesContext(connection) as asked:
        message_oldest_due(NOW)
    for query in asked:
        found = plan(query["sql"].replace("%", "%%"))
        assert not reads_whole_table(found), found
