"""Who sends which row: claims with a lease, and the sweeper that heals what a dead worker left behind."""

from datetime import datetime, timedelta
from functools import cache
from typing import Any
from uuid import UUID, uuid4

from django.db import connection
from django.db.models import DateTimeField, F, QuerySet, Value
from django.db.models.functions import Least

from reminders.models import Message
from reminders.rules.outbox import CLOCKS_DIFFER, ONCE_MORE
from reminders.services.statements import moment, rows_of

State = Message.State

BATCH = 100
LEASE = timedelta(seconds=60)
"""Longer than any single attempt can take: each attempt renews it."""

SUSPECT_AFTER = 3
"""A row claimed so often without being got through with is taken alone: it may be what kills the worker."""

MOST_CLAIMS = 6

AHEAD = timedelta(microseconds=1)
"""By how much a message that spoke for others is due before them when it goes again."""

FORGOTTEN = "the database stopped while this was going out: it may have arrived"
_FORGOT = "SELECT GREATEST(pg_postmaster_start_time(), (SELECT stats_reset FROM pg_stat_bgwriter))"

_DUE = {
    # Asked apart: together they would walk through every future safety row before they came to the others. States
    # stand in the text so that each walks its partial index, also where a parameter would hide them (SQLite). For the
    # same reason safety, with which that index begins, is compared rather than named.
    "safety": "state = 'planned' AND safety IN (TRUE) AND claims < %(suspect)s",
    "again": "state = 'uncertain' AND safety IN (TRUE) AND repeats < %(once)s",
    "others": "state = 'planned' AND safety IN (FALSE) AND claims < %(suspect)s",
    "suspects": "state = 'planned' AND safety IN (TRUE, FALSE) AND claims >= %(suspect)s",
}


def claim(now: datetime) -> tuple[UUID, list[int]]:
    """Take up to BATCH due rows for this worker alone; returns the token and their ids in the order to send them.

    Safety kinds first, then the longest waiting; suspects last and one at a time. now: aware.
    """
    token = uuid4()
    taken: list[int] = []
    for name in ("safety", "again", "others"):
        if len(taken) < BATCH:
            taken += _take(name, token, now, BATCH - len(taken))
    return token, taken or _take("suspects", token, now, 1)


def _take(name: str, token: UUID, now: datetime, most: int) -> list[int]:
    """One statement and one commit. The states are asked again by the UPDATE, which decides."""
    values = {
        "token": token, "now": now, "until": now + LEASE, "most": most, "suspect": SUSPECT_AFTER, "once": ONCE_MORE,
    }  # fmt: skip
    found = rows_of(_claim_text(name, connection.features.has_select_for_update_skip_locked), values)
    rows = [(claims if name == "suspects" else 0, wake_at, pk) for pk, wake_at, claims in found]
    return [pk for _, _, pk in sorted(rows)]


@cache
def _claim_text(name: str, skip_locked: bool) -> str:
    # Where rows can be locked, another worker's are passed over instead of waited for; elsewhere the statement
    # itself holds the lock.
    lock = "FOR UPDATE SKIP LOCKED" if skip_locked else ""
    # SQLite, which seldom knows how many rows there are, would walk through all that are planned to find the ones it
    # is to claim: so their state is asked again in a form that no index answers.
    state = "state" if skip_locked else "state || ''"
    first = "claims, " if name == "suspects" else ""
    again = ", repeats = repeats + 1" if name == "again" else ""
    return f"""
        WITH due AS (
            SELECT id FROM reminders_message
            WHERE {_DUE[name]} AND wake_at <= %(now)s AND expires_at > %(now)s
            ORDER BY {first}wake_at, id LIMIT %(most)s {lock}
        )
        UPDATE reminders_message
        SET state = 'claimed', token = %(token)s, lease_until = %(until)s, claims = claims + 1{again}
        WHERE id IN (SELECT id FROM due) AND {state} IN ('planned', 'uncertain')
        RETURNING id, wake_at, claims
    """  # noqa: S608  # no value is put in as text


# Asked apart, and safety compared rather than named: so each is the first entry of its part of the index, which begins
# with safety. Otherwise SQLite walks through every planned row.
_NEXT = """
    SELECT
        (SELECT MIN(wake_at) FROM reminders_message
         WHERE state = 'planned' AND safety IN (TRUE) AND wake_at > %(after)s),
        (SELECT MIN(wake_at) FROM reminders_message
         WHERE state = 'planned' AND safety IN (FALSE) AND wake_at > %(after)s)
"""


def next_due(after: datetime) -> datetime | None:
    """When the next planned message is to be looked at, later than after (aware); None where none is planned."""
    found = rows_of(_NEXT, {"after": after})[0]
    return min((moment(at) for at in found if at is not None), default=None)


def repeatable(now: Any) -> QuerySet[Message]:
    """Safety messages of which nothing was heard, to be sent once more. now: aware, or an expression."""
    ready = Message.objects.filter(state=State.UNCERTAIN, wake_at__lte=now, expires_at__gt=now)
    return ready.filter(safety=True, repeats__lt=ONCE_MORE).order_by("wake_at", "id")


def release(*, token: UUID) -> int:
    """Give back what this worker claimed and did not come to."""
    mine = Message.objects.filter(token=token, state=State.CLAIMED)
    return mine.update(state=State.PLANNED, token=None, lease_until=None, claims=F("claims") - 1)


def latest_end(now: datetime) -> datetime:
    """No living worker's lease ends later than this, give or take what two hosts' clocks may differ. now: aware."""
    return now + LEASE + CLOCKS_DIFFER


def dead(now: Any, latest: Any) -> tuple[QuerySet[Message], QuerySet[Message]]:
    """Rows whose lease has run out at now, and rows whose lease ends after latest, which is latest_end(now).

    The second were given before the clock was set back. Both aware, or expressions; each is a walk of one index.
    """
    leased = Message.objects.filter(state__in=(State.CLAIMED, State.SENDING))
    return leased.filter(lease_until__lte=now), leased.filter(lease_until__gt=latest)


def overtaken(now: Any) -> QuerySet[Message]:
    """Planned rows whose time has passed. now: aware, or an expression."""
    # Both values are named so that the index, which begins with safety, is walked only as far as what is due.
    return Message.objects.filter(safety__in=(True, False), wake_at__lte=now, expires_at__lte=now, state=State.PLANNED)


def sweep(now: datetime) -> None:
    """Heal rows whose worker is gone, and give up rows whose time has passed. now: aware."""
    for leased in dead(now, latest_end(now)):
        if leased.exists():
            _heal(leased, now)
    late = overtaken(now)
    if late.exists():
        late.update(state=State.MISSED, why="its time had passed before it could go", settled_at=now)


def forgot_at() -> datetime | None:
    """When the database last may have forgotten marks, aware; None where they wait for the disk, as on SQLite.

    When PostgreSQL's server began, or came up after one of its processes died: then it counts its statistics anew.
    """
    if connection.vendor != "postgresql":
        return None
    return moment(rows_of(_FORGOT, {})[0][0])


def _heal(leased: QuerySet[Message], now: datetime) -> None:
    lost = leased.filter(state=State.CLAIMED)
    forgot = forgot_at() if lost.exists() else None
    if forgot is not None:
        # Claimed before that, a row may have been sent after all. The first of several stays ahead, and leads again.
        at = Least(F("wake_at"), Value(now, output_field=DateTimeField()))
        lost.filter(lease_until__lte=forgot + LEASE + CLOCKS_DIFFER).update(
            state=State.UNCERTAIN, why=FORGOTTEN, wake_at=at, lease_until=None, settled_at=now
        )
    lost.filter(claims__gte=MOST_CLAIMS).update(
        state=State.FAILED, why="taken too often without getting through", lease_until=None, settled_at=now
    )
    lost.update(state=State.PLANNED, token=None, lease_until=None)
    for joined, wake_at in ((False, now - AHEAD), (True, now)):
        leased.filter(state=State.SENDING, joined_to__isnull=not joined).update(
            state=State.UNCERTAIN,
            why="handed over, then nothing was heard",
            wake_at=wake_at,
            lease_until=None,
            settled_at=now,
        )
