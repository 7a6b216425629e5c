"""A glance before each pass: one statement that tells whether there is anything to do at all.

Most ticks find nothing. They ask for the clinic's row, its hours, and everything else in one SELECT of EXISTS, each
answered by an index. Nothing is remembered from one tick to the next, so there is nothing that could be out of date
after an outage, a lost signal, a clock that was set or settings that were changed.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass, field, fields
from datetime import date, datetime
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

from django.db import connection
from django.db.models import QuerySet, Value

from clinic.models import Clinic, Patient, Visit
from clinic.selectors import clinic_get, hours_of
from reminders.models import Message, Notice
from reminders.services import call_conditions
from reminders.services.call_conditions import Hours, Moments, moments_at
from reminders.services.queueing import dead, latest_end, overtaken, repeatable
from reminders.services.reconciling import STALE, clinic_is_stale
from reminders.services.statements import rows_of
from taping.models import Application, ScreenDraft
from taping.selectors import drafts_since

State = Message.State
Named = Iterator[tuple[str, QuerySet[Any]]]


@dataclass(frozen=True, slots=True)
class Place:
    """What of the clinic decides about moments: its zone and its hours, weekday to local spans."""

    zone: ZoneInfo
    hours: Hours


@dataclass(frozen=True, slots=True)
class Glance:
    """What there is to do: subjects to plan, messages to send, heal or give up, and calls to open or close.

    place: as it was read for this glance; None to read it when it is needed. found: the conditions behind calls, by
    their names; None for any.
    """

    plan: bool
    messages: bool
    calls: bool
    place: Place | None = field(default=None, compare=False)
    found: frozenset[str] | None = field(default=None, compare=False)

    @property
    def idle(self) -> bool:
        return not (self.plan or self.messages or self.calls)


@dataclass(frozen=True, slots=True)
class Amiss:
    """What is to be put right before anything is sent: rows to heal or give up, news of messages to settle."""

    rows: bool
    news: bool


@dataclass(frozen=True, slots=True)
class Leftover:
    """What is to be done after everything was sent: calls to open or close, by the names of the conditions that found
    some, and drafts that are kept no longer."""

    calls: frozenset[str]
    drafts: bool


@dataclass(frozen=True, slots=True)
class _Later:
    """Stands in the statement, which is made once, for a moment that each tick has anew."""

    name: str


def glance(now: datetime) -> Glance:
    """Look once, in three queries. now: aware."""
    clinic = clinic_get()
    place = Place(clinic.zone, hours_of(None))
    found = _asked(("plan", "messages", "calls"), _moments(now, place))
    stale = clinic_is_stale(clinic) or bool(found["plan"])
    return Glance(stale, bool(found["messages"]), bool(found["calls"]), place, found["calls"])


def amiss(now: datetime) -> Amiss:
    """What a pass has to put right before it sends, in one query. now: aware."""
    found = _asked(("rows", "news"), {"now": now, "lease_end": latest_end(now)})
    return Amiss(bool(found["rows"]), bool(found["news"]))


def leftover(now: datetime, seen: Glance) -> Leftover:
    """What is left to do at the end of the pass that seen began; one query where that knows the place. now: aware."""
    place = seen.place or Place(clinic_get().zone, hours_of(None))
    found = _asked(("calls", "drafts"), _moments(now, place))
    return Leftover(found["calls"], bool(found["drafts"]))


def something_stale() -> bool:
    """Whether anything is to be planned: asked after each batch, in one query."""
    return any(rows_of(_stale_statement(connection.vendor), {})[0])


def _moments(now: datetime, place: Place) -> dict[str, Any]:
    at = moments_at(now, place.zone, place.hours)
    return {**asdict(at), "lease_end": latest_end(now), "drafts_kept": drafts_since(now, place.zone)}


def _asked(groups: tuple[str, ...], moments: Mapping[str, Any]) -> dict[str, frozenset[str]]:
    """Which conditions of each group find something, by their names; all are asked in one statement."""
    sql, values, columns = _statement(connection.vendor, groups)
    with connection.cursor() as cursor:
        cursor.execute(sql, [_adapted(moments[one.name]) if isinstance(one, _Later) else one for one in values])
        found = cursor.fetchone()
    return {
        group: frozenset(name for (of, name), yes in zip(columns, found, strict=True) if yes and of == group)
        for group in groups
    }


def _adapted(moment: date | datetime) -> Any:
    if isinstance(moment, datetime):
        return connection.ops.adapt_datetimefield_value(moment)
    return connection.ops.adapt_datefield_value(moment)


@cache
def _statement(vendor: str, groups: tuple[str, ...]) -> tuple[str, list[Any], list[tuple[str, str]]]:
    """The SELECT of this kind of database, its values, and each column's group and name.

    Putting together two dozen querysets takes longer than asking them; so this is done once a process.
    """
    parts: list[str] = []
    values: list[Any] = []
    columns: list[tuple[str, str]] = []
    for group in groups:
        for name, rows in _GROUPS[group]():
            sql, params = _exists(rows)
            parts.append(sql)
            values += params
            columns.append((group, name))
    return f"SELECT {', '.join(parts)}", values, columns


@cache
def _stale_statement(vendor: str) -> str:
    subjects = [*(rows for _, rows in _stale()), Clinic.objects.filter(STALE)]
    return f"SELECT {', '.join(_exists(one)[0] for one in subjects)}"


def _exists(rows: QuerySet[Any]) -> tuple[str, list[Any]]:
    sql, params = rows.order_by().values("pk")[:1].query.get_compiler(connection=connection).as_sql()
    return f"EXISTS({sql})", list(params)


def _stale() -> Named:
    for model in (Patient, Visit, Application):
        yield model.__name__, model._default_manager.filter(STALE)


def _messages() -> Named:
    now = Value(_Later("now"))
    # Whatever is planned and due: also what has become useless, which is given up, and what is taken alone.
    yield "due", Message.objects.filter(state=State.PLANNED, safety__in=(True, False), wake_at__lte=now)
    yield "again", repeatable(now)
    yield from _dead()
    yield from _news()


def _rows() -> Named:
    yield "late", overtaken(Value(_Later("now")))
    yield from _dead()


def _dead() -> Named:
    return zip(("over", "clock set back"), dead(Value(_Later("now")), Value(_Later("lease_end"))), strict=True)


def _news() -> Named:
    yield "open", Notice.objects.filter(open=True)


def _calls() -> Named:
    at = Moments(*(Value(_Later(moment.name)) for moment in fields(Moments)))
    yield from ((name, rows_at(at)) for name, rows_at in call_conditions.OPENING.items())
    yield from call_conditions.settled().items()


def _drafts() -> Named:
    yield "old", ScreenDraft.objects.filter(begun_at__lt=Value(_Later("drafts_kept")))


_GROUPS: Mapping[str, Callable[[], Named]] = {
    "plan": _stale,
    "messages": _messages,
    "rows": _rows,
    "news": _news,
    "calls": _calls,
    "drafts": _drafts,
}
