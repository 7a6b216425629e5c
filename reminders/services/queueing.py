"""Who sends which row: claims with a lease, and the sweeper that heals what a dead worker left behind."""

from datetime import datetime, timedelta
from uuid import UUID, uuid4

from django.db import transaction
from django.db.models import F, Q, QuerySet

from reminders.models import Message
from reminders.rules.outbox import ONCE_MORE

State = Message.State

BATCH = 100
LEASE = timedelta(seconds=60)
"""Longer than any single attempt can take: each attempt renews it."""

SUSPECT_AFTER = 3
"""A row claimed so often without being got through with is taken alone: it may be what kills the worker."""

MOST_CLAIMS = 6


def claim(now: datetime) -> tuple[UUID, list[int]]:
    """Take up to BATCH due rows for this worker alone; returns the token and their ids in the order to send them.

    Safety kinds first, then the longest waiting; suspects last and one at a time. now: aware.
    """
    token = uuid4()
    taken: list[int] = []
    for rows in _due(now):
        room = BATCH - len(taken)
        if room > 0 and rows.exists():
            taken += _take(rows, token, now, room)
    if not taken and (suspects := _suspects(now)).exists():
        taken = _take(suspects, token, now, 1)
    return token, taken


def _due(now: datetime) -> list[QuerySet[Message]]:
    ready = Message.objects.filter(wake_at__lte=now, expires_at__gt=now)
    planned = ready.filter(state=State.PLANNED, claims__lt=SUSPECT_AFTER)
    # Asked apart: together they would walk through every future safety row before they came to the others.
    return [
        planned.filter(safety=True).order_by("wake_at", "id"),
        ready.filter(state=State.UNCERTAIN, safety=True, repeats__lt=ONCE_MORE).order_by("wake_at", "id"),
        planned.filter(safety=False).order_by("wake_at", "id"),
    ]


def _suspects(now: datetime) -> QuerySet[Message]:
    ready = Message.objects.filter(safety__in=(True, False), wake_at__lte=now, expires_at__gt=now)
    return ready.filter(state=State.PLANNED, claims__gte=SUSPECT_AFTER).order_by("claims", "wake_at", "id")


@transaction.atomic
def _take(rows: QuerySet[Message], token: UUID, now: datetime, most: int) -> list[int]:
    # Where rows can be locked, another worker's are passed over instead of waited for; elsewhere the transaction
    # itself is the lock. The states are asked again in the UPDATE, whose row count decides.
    wanted = list(rows.select_for_update(skip_locked=True).values_list("id", flat=True)[:most])
    claimable = Message.objects.filter(pk__in=wanted, state__in=(State.PLANNED, State.UNCERTAIN))
    repeats = Q(state=State.UNCERTAIN)
    claimable.filter(repeats).update(repeats=F("repeats") + 1)
    if claimable.update(state=State.CLAIMED, token=token, lease_until=now + LEASE, claims=F("claims") + 1) == len(
        wanted
    ):
        return wanted
    mine = set(Message.objects.filter(pk__in=wanted, token=token).values_list("id", flat=True))
    return [pk for pk in wanted if pk in mine]


def release(*, token: UUID) -> int:
    """Give back what this worker claimed and did not come to."""
    mine = Message.objects.filter(token=token, state=State.CLAIMED)
    return mine.update(state=State.PLANNED, token=None, lease_until=None, claims=F("claims") - 1)


def _dead(now: datetime) -> Q:
    # A lease that ends later than one length ahead was given before the clock was set back.
    return Q(lease_until__lte=now) | Q(lease_until__gt=now + LEASE)


def sweep(now: datetime) -> None:
    """Heal rows whose worker is gone, and give up rows whose time has passed. now: aware."""
    lost = Message.objects.filter(_dead(now), state=State.CLAIMED)
    if lost.exists():
        lost.filter(claims__gte=MOST_CLAIMS).update(
            state=State.FAILED, why="taken too often without getting through", lease_until=None, settled_at=now
        )
        lost.update(state=State.PLANNED, token=None, lease_until=None)
    silent = Message.objects.filter(_dead(now), state=State.SENDING)
    if silent.exists():
        silent.update(
            state=State.UNCERTAIN,
            why="handed over, then nothing was heard",
            wake_at=now,
            lease_until=None,
            settled_at=now,
        )
    # Both values are named so that the index, which begins with safety, is walked only as far as what is due.
    late = Message.objects.filter(safety__in=(True, False), wake_at__lte=now, expires_at__lte=now, state=State.PLANNED)
    if late.exists():
        late.update(state=State.MISSED, why="its time had passed before it could go", settled_at=now)
