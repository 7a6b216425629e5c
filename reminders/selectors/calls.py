"""The call list, in the order in which to call."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import CharField, Count, OuterRef, QuerySet, Subquery, Value
from django.db.models.functions import Cast, Coalesce, Concat

from clinic.models import Helper, Patient
from clinic.selectors import recipient_of
from reminders.models import CallItem, Message
from reminders.rules.call_list import CallReason, Open, call_order
from reminders.rules.kinds import MessageKind


@dataclass(frozen=True, slots=True)
class CallRow:
    """One open item: whom to ask for and the number to dial; waits: it was tried and is to be tried again later.

    duty_mail: the state of a mail about it to the clinic's duty address that did not go out, or may not have arrived.
    """

    item: CallItem
    ask_for: Patient | Helper
    overdue_messages: int
    waits: bool
    duty_mail: str = ""

    @property
    def order(self) -> tuple[bool, tuple[int, datetime]]:
        """An item to be tried later stands below the others, whatever its reason."""
        reason = CallReason(self.item.reason)
        return self.waits, call_order(
            Open(
                reason=reason,
                since=self.item.since,
                urgent=self.item.urgent,
                overdue_messages=self.overdue_messages,
            )
        )


def call_items() -> QuerySet[CallItem]:
    """Items, open and closed, with what a page says about them, helpers included; duty_mail and overdue_sent for
    CallRow."""
    return (
        CallItem.objects.select_related("patient", "application", "report", "owner", "message", "closed_by")
        .prefetch_related("patient__helpers")
        .annotate(duty_mail=Coalesce(_duty_mail_lost(), Value("")), overdue_sent=Coalesce(_overdue_sent(), Value(0)))
    )


def call_items_open() -> QuerySet[CallItem]:
    return call_items().filter(closed_at=None)


def call_rows(items: Iterable[CallItem], *, now: datetime) -> list[CallRow]:
    """The items, as call_items gives them, in the order in which to call; now: aware."""
    rows = [
        CallRow(
            item=item,
            ask_for=recipient_of(item.patient),
            overdue_messages=item.overdue_sent,  # type: ignore[attr-defined]  # call_items adds it
            waits=item.try_again_at is not None and item.try_again_at > now,
            duty_mail=getattr(item, "duty_mail", ""),
        )
        for item in items
    ]
    return sorted(rows, key=lambda row: row.order)


def _duty_mail_lost() -> Subquery:
    """The state of the duty mail about an item's report, where a person has to make up for it.

    Asked along with the items, each by the unique index of messages: so it says nothing more once the mail went.
    """
    lost = (Message.State.FAILED, Message.State.MISSED, Message.State.UNCERTAIN)
    subject = Concat(Value("report:"), Cast(OuterRef("report"), CharField()))
    mails = Message.objects.filter(subject=subject, kind=MessageKind.DUTY_REPORT, state__in=lost)
    return Subquery(mails.order_by("id").values("state")[:1])


def _overdue_sent() -> Subquery:
    """How many overdue messages went out about an item's tape, asked along with the items."""
    sent = Message.objects.filter(
        application=OuterRef("application"), kind=MessageKind.REMOVAL_OVERDUE, state=Message.State.SENT
    )
    return Subquery(sent.order_by().values("application").annotate(number=Count("pk")).values("number"))
