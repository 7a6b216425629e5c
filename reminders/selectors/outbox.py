"""The pages of the outbox: what needs a person, what goes next, what went."""

from collections.abc import Mapping
from dataclasses import dataclass

from django.db.models import Case, IntegerField, QuerySet, Value, When

from reminders.models import Message

PAGE = 30

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
    """Up to PAGE messages; number counts from 1."""

    messages: list[Message]
    number: int
    has_next: bool


def message_page(view: str, *, number: int, state: str = "") -> MessagePage:
    """One page of a list of VIEWS, of one of its states alone where that is given. Raises KeyError for another view."""
    states = [state] if state in VIEWS[view] else list(VIEWS[view])
    rows = _ordered(Message.objects.filter(state__in=states), view)
    start = (number - 1) * PAGE
    # One more than is shown says whether there is a next page, without counting a million rows.
    found = list(rows.select_related("patient", "application", "visit", "joined_to")[start : start + PAGE + 1])
    return MessagePage(found[:PAGE], number, len(found) > PAGE)


def _ordered(rows: QuerySet[Message], view: str) -> QuerySet[Message]:
    if view == "next":
        return rows.order_by("wake_at", "id")
    if view != "needs":
        return rows.order_by("-planned_for", "-id")
    ranks = [When(state=state, then=Value(rank)) for rank, state in enumerate(VIEWS["needs"])]
    rank = Case(*ranks, default=Value(len(ranks)), output_field=IntegerField())
    return rows.annotate(rank=rank).order_by("rank", "-planned_for", "-id")
