"""Reads of the outbox that every part of the engine shares."""

from datetime import datetime

from django.db.models import Min, Q

from reminders.models import Message

State = Message.State


def message_oldest_due(until: datetime) -> datetime | None:
    """When the oldest message that has not gone should have been looked at, among those due at until (aware).

    Asked on every staff page, so it walks the partial indexes only as far as what is due: the state is named apart
    for each of them, and so is safety, with which one of them begins.
    """
    planned = Q(state=State.PLANNED, safety__in=(True, False), wake_at__lte=until)
    on_the_way = Q(state__in=(State.CLAIMED, State.SENDING), wake_at__lte=until)
    oldest: datetime | None = Message.objects.filter(planned | on_the_way).aggregate(at=Min("wake_at"))["at"]
    return oldest
