"""The lines of a play for people: by day, on the clinic's clock."""

from collections.abc import Callable, Iterable, Iterator
from datetime import datetime
from itertools import groupby
from zoneinfo import ZoneInfo

from clinic.models.people import Channel
from reminders.models import CallItem, Message
from reminders.rehearsal.lines import Line

_CHANNELS = {value: str(label) for value, label in Channel.choices}
_STATES = {value: str(label) for value, label in Message.State.choices}
_REASONS = {value: str(label) for value, label in CallItem.Reason.choices}


def write_table(lines: Iterable[Line], zone: ZoneInfo, write: Callable[[str], object]) -> None:
    """Messages by day, then tapes, then whom to call; times on the clock of zone."""
    kept = list(lines)
    messages = [line for line in kept if line["type"] == "message"]
    for text in [*_messages(messages, zone), *_tapes(kept), *_calls(kept, zone)]:
        write(f"{text}\n")


def _messages(lines: list[Line], zone: ZoneInfo) -> Iterator[str]:
    if not lines:
        yield "No message goes in this time."
    moments = sorted(((_local(line["at"] or line["planned_for"], zone), line) for line in lines), key=lambda one: one[0])
    for day, rows in groupby(moments, key=lambda one: one[0].date()):
        yield f"\n{day:%A}, {day.day} {day:%B %Y}"
        for at, line in rows:
            yield from _message(at, line)


def _message(at: datetime, line: Line) -> Iterator[str]:
    way = f"{_CHANNELS[line['channel']].lower()} to {line['to']}" if line["channel"] else "no way out"
    about = f"tape {line['application']}" if line["application"] is not None else f"patient {line['patient']}"
    kind = line["kind"].replace("_", " ")
    yield f"  {at:%H:%M}  {kind:<16} {_STATES[line['state']]:<36} {way:<40} {about}"
    if line["joined_to"] is not None:
        yield f"         said together with the message of tape {line['joined_to']}"
    if line["reasons"]:
        yield f"         why: {'; '.join(line['reasons'])}"


def _tapes(lines: list[Line]) -> Iterator[str]:
    tapes = [line for line in lines if line["type"] == "application"]
    if tapes:
        yield "\nTape at the end of this time"
    for line in tapes:
        days = f"{line['opens_on']} to {line['closes_on']}, comes off {line['removal_day']}"
        yield f"  {line['ref']!s:<10} {line['state']:<8} {days}"


def _calls(lines: list[Line], zone: ZoneInfo) -> Iterator[str]:
    calls = [line for line in lines if line["type"] == "call"]
    yield "\nWhom to call at the end of this time" if calls else "\nNobody is on the call list at the end of this time."
    for line in calls:
        about = f", tape {line['application']}" if line["application"] is not None else ""
        since = _local(line["since"], zone)
        yield f"  {_REASONS[line['reason']]}: patient {line['patient']}{about}, since {since:%a} {since.day} {since:%b %H:%M}"


def _local(at: str, zone: ZoneInfo) -> datetime:
    return datetime.fromisoformat(at).astimezone(zone)
