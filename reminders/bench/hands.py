"""The processes that a measurement runs: each reads tasks, one JSON object a line, and answers each with another.

Started as a program of its own, with a database and settings of the measurement's in its environment.
"""

import json
import random
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

import django

Task = Callable[..., dict[str, Any]]
SENDER = "clinic@example.org"


def _now() -> datetime:
    return datetime.now(UTC)


def prepare(*, tapes: int) -> dict[str, Any]:
    """Make the tables and so many tapes on the skin."""
    from django.core.management import call_command

    from reminders.bench import stock

    call_command("migrate", verbosity=0)
    stock.tapes_make(tapes, therapist=stock.clinic_make(), at=_now() - timedelta(days=4))
    _fresh_statistics()
    return {}


def fill(*, count: int, due: float, keys: str, kind: str = "removal_day") -> dict[str, Any]:
    """Throw away all messages and put count into the outbox, due at due (seconds since 1970); write down their keys."""
    from reminders.bench import stock
    from reminders.models import Message

    Message.objects.all()._raw_delete("default")
    rows = stock.message_rows(stock.tapes_on()[:count], due_at=datetime.fromtimestamp(due, UTC), kind=kind)
    stock.messages_make(rows)
    Path(keys).write_text("\n".join(row.key.hex for row in rows))
    _fresh_statistics()
    return {}


def keys_in(*, state: str) -> dict[str, Any]:
    """The keys of the messages in this state."""
    from reminders.models import Message

    return {"keys": [key.hex for key in Message.objects.filter(state=state).values_list("key", flat=True)]}


def _fresh_statistics() -> None:
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE" if connection.vendor == "postgresql" else "ANALYZE")


def cancel(*, share: float, keys: str) -> dict[str, Any]:
    """Drop a share of the messages as a change of plan does, and write down the keys of those that were dropped."""
    from reminders.models import Message
    from reminders.services.planning import message_drop

    ids = list(Message.objects.order_by("pk").values_list("pk", flat=True))
    chosen = random.Random(5).sample(ids, int(len(ids) * share))
    dropped = [
        row.key.hex for row in Message.objects.filter(pk__in=chosen) if message_drop(row=row, why="bench", now=_now())
    ]
    Path(keys).write_text("\n".join(dropped))
    return {}


def drain(*, due: float, start: float, record: str, port: int = 0) -> dict[str, Any]:
    """Be a worker: pass after pass until nothing waits, by a clock that shows due at the moment start.

    port: that of the mail server; without one nothing is put into words and the way out only writes down.
    """
    from reminders.bench.sinks import NoWay, Record
    from reminders.models import Message
    from reminders.services.queueing import next_due
    from reminders.services.running import run_due
    from reminders.transports.smtp import MailServer, SmtpTransport

    def clock() -> datetime:
        return datetime.fromtimestamp(due + time.time() - start, UTC)

    way = SmtpTransport(MailServer("127.0.0.1", port, "plain"), SENDER) if port else NoWay(Record(Path(record)))
    write = None if port else _wordless
    open_states = ("planned", "claimed", "sending")
    while True:
        run_due(clock, transports={"sms": way, "email": way}, write=write)
        now = clock()
        if now.timestamp() >= due and not Message.objects.filter(state__in=open_states, wake_at__lte=now).exists():
            return {"memory_mb": _memory_mb()}
        coming = next_due(now)
        time.sleep(max(0.0, min(1.0, (coming - now).total_seconds() if coming else 1.0)))


def _wordless(rows: Any, look: Any, now: datetime) -> Any:
    from reminders.services.rendering import Words
    from reminders.transports import Outgoing

    row, route = rows[0], look.route
    return Words("", ""), Outgoing(row.key, row.kind, route.address, "", row.planned_for, now)


def _memory_mb() -> float:
    """The most this process held at any time."""
    status = Path("/proc/self/status").read_text()
    return int(status.partition("VmHWM:")[2].split()[0]) / 1024


def raw(*, due: float, start: float, record: str, address: str, port: int = 0, relaxed: bool = False) -> dict[str, Any]:
    """Be the hand-written loop on the same rows; address: a server's, or a file's path."""
    from reminders.bench import raw as loops

    def clock() -> datetime:
        return datetime.fromtimestamp(due + time.time() - start, UTC)

    send = loops.Mailer(port, *_built()) if port else loops.noted(Path(record))
    time.sleep(max(0.0, start - time.time()))
    if address.startswith("postgres"):
        loops.postgres(address, clock, send, relaxed=relaxed)
    else:
        loops.sqlite(address, clock, send)
    return {"memory_mb": _memory_mb()}


def _built() -> tuple[bytes, UUID]:
    """The first message's mail as the engine would send it, and its key."""
    from clinic.models.people import Channel
    from clinic.selectors import clinic_get
    from reminders.models import Message
    from reminders.services.addresses import Route
    from reminders.services.batches import rows_read
    from reminders.services.outgoing import outgoing_of
    from reminders.services.rendering import render
    from reminders.services.wording import Saying
    from reminders.transports.mail import mail_bytes

    row = rows_read([Message.objects.values_list("pk", flat=True)[0]])[0]
    saying = Saying(row, [], row.patient, clinic_get(), row.planned_for)
    words = render(saying, Channel.EMAIL)
    return mail_bytes(outgoing_of(saying, Route(Channel.EMAIL, row.patient.email), words), SENDER), row.key


def plan(*, tapes: int, alone: int) -> dict[str, Any]:
    """Plan new tapes, all at once and one at a time, and insert the same rows bare in the same two ways."""
    from reminders.bench.planning import planning_rates

    return planning_rates(tapes, alone)


def claims(*, old: int, repeats: int) -> dict[str, Any]:
    """Milliseconds of one claim of a hundred, the median, with old messages of earlier months in the table."""
    from reminders.bench.planning import claim_ms

    return {"claim_ms": claim_ms(old, repeats)}


def future(*, count: int) -> dict[str, Any]:
    """Put so many messages of coming months into the outbox."""
    from reminders.bench.planning import copies_make

    copies_make(count, state="planned", days=30)
    _fresh_statistics()
    return {}


def idle(*, tapes: int, ticks: int) -> dict[str, Any]:
    """Milliseconds of one pass that finds nothing, the median, after so many tapes of five messages each."""
    from statistics import median

    from clinic.models import User
    from reminders.bench import planning, stock
    from reminders.services.running import run_due

    therapist = User.objects.get(username="thea")
    stock.tapes_make(tapes, therapist=therapist, at=_now() - timedelta(days=90), ended=True)
    stock.messages_make(stock.message_rows(stock.tapes_on(), due_at=_now() + timedelta(days=1)))
    planning.copies_make(5 * tapes, state="sent", days=-90)
    taken = []
    for _ in range(ticks):
        begun = time.perf_counter()
        run_due(_now)
        taken.append(time.perf_counter() - begun)
    return {"idle_tick_ms": round(median(taken) * 1000, 2)}


def crowd(*, size: dict[str, int], beside: dict[str, int] | None = None) -> dict[str, Any]:
    """Make an invented clinic of that size, or fill up the one that is there already."""
    from django.core.management import call_command

    from reminders.bench.crowd import Size, crowd_begin, crowd_fill
    from reminders.bench.walk import props_make

    now = _now()
    if beside is None:
        call_command("migrate", verbosity=0)
        crowd_begin(Size(**size))
    crowd_fill(Size(**size), beside=Size(**beside) if beside else None, now=now)
    if beside is None:
        props_make(now)
    return {}


def look(*, patients: int) -> dict[str, Any]:
    """Choose what the walks ask about, and walk once for the caches."""
    from reminders.bench.walk import Walk, sample_take

    _walks.append(Walk(sample_take(patients, _now())))
    _walks[0].once()
    return {}


def walk() -> dict[str, Any]:
    """Go over all pages: milliseconds and queries of each."""
    return {"pages": _walks[0].once()}


_walks: list[Any] = []


def list_check(*, path: str) -> dict[str, Any]:
    """Take a list of patients in and check it: seconds, and the most memory held so far."""
    from reminders.bench import lists

    begun = time.perf_counter()
    _lists.append(lists.check(Path(path), _now))
    return {"seconds_check": round(time.perf_counter() - begun, 2)}


def list_write(*, state: str) -> dict[str, Any]:
    """Write the list that was checked last; written: how many lines were in this state."""
    from clinic.services.events import Actor
    from clinic.services.import_writing import import_write

    begun = time.perf_counter()
    of = import_write(actor=Actor(word="bench"), now=_now(), of=_lists[-1])
    taken = time.perf_counter() - begun
    return {"seconds_write": round(taken, 2), "written": of.counts[state], "memory_mb": round(_memory_mb(), 1)}


def knock(*, stop: str) -> dict[str, Any]:
    """Write one small thing after the other until the file stop is there."""
    from reminders.bench import lists

    return lists.knock(Path(stop), _now)


_lists: list[Any] = []

_TASKS: tuple[Task, ...] = (
    prepare, fill, keys_in, cancel, drain, raw, plan, claims, future, idle, crowd, look, walk, list_check, list_write,
    knock,
)  # fmt: skip
TASKS: dict[str, Task] = {task.__name__: task for task in _TASKS}


def main() -> None:
    django.setup()
    print("{}", flush=True)  # noqa: T201  # the parent waits for it
    for line in sys.stdin:
        asked = json.loads(line)
        answer = TASKS[asked.pop("task")](**asked)
        print(json.dumps(answer), flush=True)  # noqa: T201


if __name__ == "__main__":
    if sys.argv[1:2] == ["mail"]:
        from reminders.bench.sinks import serve_mail

        serve_mail(Path(sys.argv[2]))
    else:
        main()
