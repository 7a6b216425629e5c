"""Why somebody is on the call list, since when, and who comes first."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from clinic.rules.local_time import as_instant, at_clock, day_starts


class CallReason(StrEnum):
    """What a person has to call about."""

    SKIN_REPORT = "skin_report"
    CALL_BACK = "call_back"
    OVERDUE = "overdue"
    UNREACHABLE = "unreachable"
    UNDELIVERED = "undelivered"
    UNCERTAIN = "uncertain"
    REPLY = "reply"
    UNFINISHED = "unfinished"


_ORDER = tuple(CallReason)
MESSAGES_BEFORE_TOP = 2
"""After so many overdue messages without an answer an overdue tape rises to the top."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Open:
    """An open item: `since` is aware, `urgent` says that a skin report has an urgent sign."""

    reason: CallReason
    since: datetime
    urgent: bool = False
    overdue_messages: int = 0


def call_order(item: Open) -> tuple[int, datetime]:
    """Return the sort key of an open item: what cannot wait first, then the longest waiting.

    An urgent skin report stands above an overdue tape that has risen to the top: breathing and blood flow come
    before tape. A reply may be a cry for help in words nobody sorted; it stands with the calls asked for.
    """
    since = as_instant(item.since, "since")
    if item.reason is CallReason.SKIN_REPORT and item.urgent:
        return 0, since
    if item.reason is CallReason.OVERDUE and item.overdue_messages >= MESSAGES_BEFORE_TOP:
        return 1, since
    reason = CallReason.CALL_BACK if item.reason is CallReason.REPLY else item.reason
    return 2 + _ORDER.index(reason), since


def overdue_since(closes_on: date, clinic_zone: ZoneInfo) -> datetime:
    """Return when (UTC) a tape still on becomes overdue: the start of the day after the window closed."""
    return day_starts(closes_on + timedelta(days=1), clinic_zone)


def unreachable_since(removal_day: date, clinic_zone: ZoneInfo, stopped_at: datetime | None = None) -> datetime:
    """Return when (UTC) a patient with tape on and no way to be told has to be called.

    At once after a STOP at `stopped_at` (aware); otherwise from the start of the removal day, so that it is on
    the list whenever the desk opens.
    """
    morning = day_starts(removal_day, clinic_zone)
    return morning if stopped_at is None else as_instant(stopped_at, "stopped_at")


def unfinished_since(begun_on: date, closing: time, clinic_zone: ZoneInfo) -> datetime:
    """Return when (UTC) a draft neither taped nor discarded is asked about: closing time of its day."""
    return at_clock(begun_on, closing, clinic_zone)
