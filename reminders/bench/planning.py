"""How fast messages are planned and claimed, beside bare inserts of the same rows."""

import copy
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from statistics import median
from uuid import uuid4

from django.db import connection, transaction
from django.db.models import Max

from clinic.models import User
from clinic.selectors import clinic_get
from reminders.bench import stock
from reminders.bench.bulk import without_indexes
from reminders.models import Link, Message
from reminders.services.planning import plan_application
from reminders.services.queueing import claim
from reminders.services.reconciling import reconcile
from taping.models import Application


def planning_rates(tapes: int, alone: int) -> dict[str, float]:
    """Message rows a second: planned in bulk, by bulk_create, planned one tape at a time, inserted one by one."""
    now, clinic = datetime.now(UTC), clinic_get()
    _new(tapes, now)
    begun = time.perf_counter()
    reconcile(now)
    planned_bulk = _written() / (time.perf_counter() - begun)
    rows, links = _again()
    bare_bulk = len(rows) / _seconds(lambda: _create(rows, links))
    ids = _new(alone, now)
    begun = time.perf_counter()
    for pk in ids:
        plan_application(pk=pk, clinic=clinic, now=now)
    planned_one = _written() / (time.perf_counter() - begun)
    rows, links = _again()
    bare_one = len(rows) / _seconds(lambda: _insert(rows))
    return {
        "planning_bulk_per_second": round(planned_bulk),
        "bulk_create_per_second": round(bare_bulk),
        "planning_one_per_second": round(planned_one),
        "insert_one_per_second": round(bare_one),
    }


def _new(count: int, now: datetime) -> list[int]:
    """Tapes of which no message has been planned yet, alone in the outbox."""
    Message.objects.all()._raw_delete("default")
    ids = stock.tapes_make(count, therapist=User.objects.get(username="thea"), at=now)
    Application.objects.filter(pk__in=ids).update(planned_version=0)
    return ids


def _written() -> int:
    return Message.objects.count()


def _again() -> tuple[list[Message], list[Link]]:
    """The rows that planning wrote, taken out again and ready to be inserted anew."""
    rows, links = list(Message.objects.all()), list(Link.objects.all())
    Message.objects.all()._raw_delete("default")
    Link.objects.all()._raw_delete("default")
    for row in (*rows, *links):
        row.pk, row._state.adding = None, True
    return rows, links


def _create(rows: list[Message], links: list[Link]) -> None:
    with transaction.atomic():
        Message.objects.bulk_create(rows)
        Link.objects.bulk_create(links)


def _insert(rows: list[Message]) -> None:
    for row in rows:
        row.save(force_insert=True)


def _seconds(work: Callable[[], object]) -> float:
    begun = time.perf_counter()
    work()
    return time.perf_counter() - begun


def claim_ms(old: int, repeats: int) -> float:
    """One claim of a hundred due messages, taken back each time, beside so many that were sent long ago."""
    now = datetime.now(UTC)
    Message.objects.all()._raw_delete("default")
    stock.messages_make(stock.message_rows(stock.tapes_on()[:400], due_at=now))
    copies_make(old, state="sent", days=-30)
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE reminders_message" if connection.vendor == "postgresql" else "ANALYZE")
    taken = []
    for _ in range(repeats):
        begun = time.perf_counter()
        claim(now)
        taken.append(time.perf_counter() - begun)
        Message.objects.filter(state="claimed").update(state="planned", token=None, lease_until=None, claims=0)
    return round(median(taken) * 1000, 2)


def copies_make(count: int, *, state: str, days: int) -> None:
    """Put count copies of one message into the outbox, so many days away, a minute apart."""
    template = Message.objects.order_by("pk").first()
    if template is None or count <= 0:
        return
    if connection.vendor == "postgresql":
        _copied_by_server(template, count, state, days)
        return
    first = (Message.objects.aggregate(last=Max("ordinal"))["last"] or 0) + 1
    at = template.planned_for + timedelta(days=days)
    for start in range(0, count, stock.PAGE):
        rows = []
        for number in range(start, min(start + stock.PAGE, count)):
            row = copy.copy(template)
            row.pk, row.key, row.state, row.subject = None, uuid4(), state, f"application:{10**8 + first + number}"
            row.planned_for = row.wake_at = at + timedelta(minutes=number % 40_000)
            row.expires_at = row.wake_at + timedelta(hours=12)
            rows.append(row)
        Message.objects.bulk_create(rows)


def _copied_by_server(template: Message, count: int, state: str, days: int) -> None:
    """In one statement: a million rows need not pass through this process."""
    changed = {
        "subject": "'application:' || (100000000 + n)",
        "key": "gen_random_uuid()",
        "state": "%(state)s",
        "planned_for": "planned_for + make_interval(days => %(days)s, mins => n %% 40000)",
        "wake_at": "wake_at + make_interval(days => %(days)s, mins => n %% 40000)",
        "expires_at": "expires_at + make_interval(days => %(days)s, mins => n %% 40000)",
    }
    columns = [str(field.column) for field in Message._meta.concrete_fields if not field.primary_key]
    values = ", ".join(changed.get(column, column) for column in columns)
    with connection.cursor() as cursor, without_indexes(["reminders_message"]):
        cursor.execute(
            f"INSERT INTO reminders_message ({', '.join(columns)}) SELECT {values}"  # noqa: S608  # only names
            " FROM reminders_message, generate_series(1, %(count)s) AS n WHERE id = %(id)s",
            {"state": state, "days": days, "count": count, "id": template.pk},
        )
