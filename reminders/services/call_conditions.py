"""What has to come on the call list, and what has settled itself, as conditions that the database answers.

Each is written once and used twice: the pass over the call list reads the rows, and the glance of every tick asks
only whether there is one. So the glance cannot overlook what the pass would find.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from django.db.models import CharField, Exists, F, Model, OuterRef, Q, QuerySet, Value
from django.db.models.functions import Cast, Concat

from clinic.models import Helper, Patient
from clinic.models.people import Channel
from clinic.rules.local_time import at_clock, day_starts
from reminders.models import CallItem, Message, RefusedAddress
from reminders.rules.kinds import MessageKind
from reminders.rules.outbox import ONCE_MORE
from reminders.services.looking import NO_ROUTE
from taping.models import Application, SkinScreen, StripPlan
from taping.selectors import screens_untaped

Reason = CallItem.Reason
Row = TypeVar("Row", bound=Model)
Hours = Mapping[int, Sequence[tuple[time, time]]]

LOOK_BACK = timedelta(days=8)
"""How far back a message that nobody got is still looked for; older ones have been seen, or no longer matter."""
CLOSING_UNKNOWN = time(18, 0)
"""Closing time of a day on which the clinic has no hours of its own."""
_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Moments:
    """The moments that decide. now, look_back and drafts_before are aware; today is the clinic's date.

    drafts_before: a draft made before it is past closing time of its day. Any of them may be an expression.
    """

    now: Any
    today: Any
    look_back: Any
    drafts_before: Any


def closing_time(hours: Hours, day: date) -> time:
    """When the clinic closes on this day of the week."""
    return max((closes for _, closes in hours.get(day.weekday(), ())), default=CLOSING_UNKNOWN)


def moments_at(now: datetime, zone: ZoneInfo, hours: Hours) -> Moments:
    """The moments of now (aware). zone and hours (weekday to local spans) are the clinic's, as they are at present."""
    today = now.astimezone(zone).date()
    # On every earlier day closing time has passed, whatever the hours are.
    day = today + _DAY if at_clock(today, closing_time(hours, today), zone) <= now else today
    return Moments(now, today, now - LOOK_BACK, day_starts(day, zone))


def overdue(at: Moments) -> QuerySet[Application]:
    """Tape on the skin after its window closed."""
    return _without_item(Application.objects.filter(ended_at=None, closes_on__lt=at.today), Reason.OVERDUE)


def unreachable(at: Moments) -> QuerySet[Application]:
    """Tape of somebody who cannot be told: at once after a STOP with tape on, else from the removal day."""
    worn = Application.objects.filter(ended_at=None)
    stopped = Q(patient__consents=False, patient__consent_withdrawn_at__gte=F("applied_at"))
    not_stopped = (
        Q(patient__consents=True)
        | Q(patient__consent_withdrawn_at=None)
        | Q(patient__consent_withdrawn_at__lt=F("applied_at"))
    )
    due = (stopped & Q(patient__consent_withdrawn_at__lte=at.now)) | (not_stopped & Q(removal_day__lte=at.today))
    return _without_item(worn.filter(due).filter(Q(patient__consents=False) | ~_has_route()), Reason.UNREACHABLE)


def unfinished(at: Moments) -> QuerySet[StripPlan]:
    """Drafts past the screen, neither taped nor put away by closing time of their day, and not asked about since."""
    drafts = StripPlan.objects.filter(
        closed_at=None, application=None, made_at__gte=at.look_back, made_at__lte=at.now, made_at__lt=at.drafts_before
    )
    known = CallItem.objects.filter(patient=OuterRef("screen__patient"), reason=Reason.UNFINISHED)
    return drafts.filter(~Exists(known.filter(Q(closed_at=None) | Q(closed_at__gte=OuterRef("made_at")))))


def untaped(at: Moments) -> QuerySet[SkinScreen]:
    """Recorded screens that permit tape and led to nothing by closing time of their day, and not asked about since."""
    screens = screens_untaped().filter(saved_at__gte=at.look_back, saved_at__lte=at.now, saved_at__lt=at.drafts_before)
    known = CallItem.objects.filter(patient=OuterRef("patient"), reason=Reason.UNFINISHED)
    return screens.filter(~Exists(known.filter(Q(closed_at=None) | Q(closed_at__gte=OuterRef("saved_at")))))


def undelivered(at: Moments) -> QuerySet[Message]:
    """Messages that reached nobody, also those the program itself could not get through with, and those whose time
    passed between two attempts. One never tried for want of an address is not here: that nobody can be reached is
    asked about on the removal day."""
    failed = Q(state=Message.State.FAILED) & (Q(attempts__gt=0) | ~Q(refused_on="") | ~Q(why=NO_ROUTE))
    failed |= Q(state=Message.State.MISSED, attempts__gt=0)
    return _not_known(at, failed, Reason.UNDELIVERED)


def uncertain(at: Moments) -> QuerySet[Message]:
    """Messages of which nobody knows whether they arrived, and that no machine repeats any more."""
    silent = Q(state=Message.State.UNCERTAIN) & (
        Q(safety=False) | Q(repeats__gte=ONCE_MORE) | Q(expires_at__lte=at.now)
    )
    return _not_known(at, silent, Reason.UNCERTAIN)


OPENING: Mapping[str, Callable[[Moments], QuerySet[Any]]] = {
    "overdue": overdue,
    "unreachable": unreachable,
    "unfinished": unfinished,
    "untaped": untaped,
    "undelivered": undelivered,
    "uncertain": uncertain,
}
"""What comes on the call list, by the names that settled() does not use."""


def settled(wanted: Collection[str] | None = None) -> dict[str, QuerySet[CallItem]]:
    """Open items whose cause is gone, by how they close. wanted: only those of these names; None: all."""
    return {how: rows() for how, rows in _SETTLED.items() if wanted is None or how in wanted}


def _ended() -> QuerySet[CallItem]:
    return _open_items().filter(reason__in=(Reason.OVERDUE, Reason.UNREACHABLE), application__ended_at__isnull=False)


def _went() -> QuerySet[CallItem]:
    # Asked of each open item, of which there are few: a join would begin at the messages that went, which are many.
    went = Message.objects.filter(pk=OuterRef("message"), state__in=(Message.State.SENT, Message.State.PLANNED))
    return _open_items().filter(Exists(went), reason__in=(Reason.UNDELIVERED, Reason.UNCERTAIN))


def _reached_again() -> QuerySet[CallItem]:
    return _open_items().filter(reason=Reason.UNREACHABLE, patient__consents=True).filter(_has_route())


def _put_away() -> QuerySet[CallItem]:
    drafts = StripPlan.objects.filter(screen__patient=OuterRef("patient"), closed_at=None, application=None)
    screens = screens_untaped().filter(patient=OuterRef("patient"))
    return _open_items().filter(reason=Reason.UNFINISHED).filter(~Exists(drafts), ~Exists(screens))


def _open_items() -> QuerySet[CallItem]:
    return CallItem.objects.filter(closed_at=None)


_SETTLED: Mapping[str, Callable[[], QuerySet[CallItem]]] = {
    "the tape is off": _ended,
    "the message went": _went,
    "can be reached again": _reached_again,
    "taped or put away": _put_away,
}


def _without_item(rows: QuerySet[Application], reason: str) -> QuerySet[Application]:
    return rows.filter(~Exists(CallItem.objects.filter(application=OuterRef("pk"), reason=reason, closed_at=None)))


def _not_known(at: Moments, state: Q, reason: Reason) -> QuerySet[Message]:
    key = Concat(Value(f"{reason.value}:"), Cast(OuterRef("subject"), CharField()))
    known = CallItem.objects.filter(Q(closed_at=None) | Q(closed_at__gte=OuterRef("settled_at")), key=key)
    # What was meant for the clinic's duty address is no reason to call the patient; the reaction itself is one.
    rows = Message.objects.filter(state, planned_for__gte=at.look_back, joined_to=None).exclude(
        kind=MessageKind.DUTY_REPORT
    )
    return rows.filter(~Exists(known)).order_by("settled_at", "id")


def _has_route() -> Q:
    """Whether the recipient of the row's patient has an address that works: recipient_of and route_find in SQL."""
    helper = Helper.objects.filter(patient=OuterRef("patient"), gets_messages=True)
    patient = Patient.objects.filter(pk=OuterRef("patient"))
    return Q(Exists(_with_address(helper))) | (~Q(Exists(helper)) & Q(Exists(_with_address(patient))))


def _with_address(people: QuerySet[Row]) -> QuerySet[Row]:
    by_sms, by_mail = (
        ~Q(**{field: ""}) & ~Exists(RefusedAddress.objects.filter(channel=channel, address=OuterRef(field)))
        for field, channel in (("phone", Channel.SMS), ("email", Channel.EMAIL))
    )
    return people.filter(by_sms | by_mail)
