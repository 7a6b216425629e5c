"""The pages of the outbox: what needs a person, what goes next, what went."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from django.db.models import QuerySet

from clinic.selectors import day_range, patients_find
from reminders.models import Message

PAGE = 30
MOST_PAGES = 1_000
"""How far anybody leafs; what lies further back is found by its day or its patient."""

State = Message.State

VIEWS: Mapping[str, tuple[str, ...]] = {
    "needs": (State.FAILED, State.UNCERTAIN, State.MISSED),
    "next": (State.PLANNED, State.CLAIMED, State.SENDING),
    "went": (State.SENT,),
    "dropped": (State.DROPPED,),
}
"""The lists of the messages page and the states each holds, the gravest first."""


@dataclass(frozen=True, slots=True)
class MessagePage:
    """Up to PAGE messages; number counts from 1. last: no later page is shown, whether or not there are more."""

    messages: list[Message]
    number: int
    has_next: bool
    last: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Filters:
    """What of a list is wanted; an empty one asks for everything. state counts where the list has it; patient: parts
    of a name, or a number; day: the clinic's, of the moment a message was planned for; zone: the clinic's."""

    zone: ZoneInfo
    state: str = ""
    kind: str = ""
    channel: str = ""
    patient: str = ""
    day: date | None = None


def message_page(view: str, *, number: int, filters: Filters) -> MessagePage:
    """One page of a list of VIEWS. Raises KeyError for another view."""
    states = [filters.state] if filters.state in VIEWS[view] else list(VIEWS[view])
    start = (number - 1) * PAGE
    # One more than is shown says whether there is a next page, without counting a million rows.
    ids = _ids(view, states, filters, until=start + PAGE + 1)[start:]
    rows = Message.objects.select_related("patient", "application", "visit", "joined_to").in_bulk(ids[:PAGE])
    last = number >= MOST_PAGES
    return MessagePage([rows[pk] for pk in ids[:PAGE] if pk in rows], number, len(ids) > PAGE and not last, last)


def _ids(view: str, states: list[str], filters: Filters, *, until: int) -> list[int]:
    """The first `until` of a list, ids alone: the index holds them, so that a late page passes over no whole rows.

    A list that is ordered by its states takes one after the other: sorting all of them would read them all.
    """
    if view == "next":
        rows = _filtered(Message.objects.filter(state__in=states), filters).order_by("wake_at", "id")
        return list(rows.values_list("pk", flat=True)[:until])
    found: list[int] = []
    for state in states:
        rows = _filtered(Message.objects.filter(state=state), filters).order_by("-planned_for", "-id")
        found += rows.values_list("pk", flat=True)[: until - len(found)]
        if len(found) >= until:
            break
    return found


def _filtered(rows: QuerySet[Message], filters: Filters) -> QuerySet[Message]:
    if filters.kind:
        rows = rows.filter(kind=filters.kind)
    if filters.channel:
        rows = rows.filter(channel=filters.channel)
    if filters.patient:
        rows = rows.filter(patient__in=patients_find(filters.patient).order_by())
    if filters.day:
        start, end = day_range(filters.day, filters.zone)
        rows = rows.filter(planned_for__gte=start, planned_for__lt=end)
    return rows
