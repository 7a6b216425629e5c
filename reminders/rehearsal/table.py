"""The lines of a play for people: by day, on the clinic's clock."""

from collections.abc import Callable, Iterable, Iterator
from datetime import datetime
from itertools import groupby
from zoneinfo import ZoneInfo

from clinic.models.people import Channel
from reminders.models import CallItem, Message
from reminders.rehearsal.lines import Line
from reminders.rules.words import day_words

_CHANNELS = {value: str(label).lower() for value, label in Channel.choices}
_STATES = {value: str(label) for value, label in Message.State.choices}
_REASONS = {value: str(label) for value, label in CallItem.Reason.choices}


def write_table(lines: Iterable[Line], zone: ZoneInfo, write: Callable[[str], object]) -> None:
    """Messages by day, then tapes, then whom to call; times on the clock of zone."""
    kept = list(lines)
    for text in [*_messages(kept, zone), *_tapes(kept), *_calls(kept, zone)]:
        write(f"{text}\n")


def _messages(lines: list[Line], zone: ZoneInfo) -> Iterator[str]:
    timed = [(_local(one["at"] or one["planned_for"], zone), one) for one in lines if one["type"] == "message"]
    if not timed:
        yield "\nNo message goes in this time."
    timed.sort(key=lambda pair: pair[0])
    for day, rows in groupby(timed, key=lambda pair: pair[0].date()):
        yield f"\n{day_words(day)} {day.year}"
        for at, line in rows:
            yield from _message(at, line)


def _message(at: datetime, line: Line) -> Iterator[str]:
    kind = line["kind"].replace("_", " ")
    yield f"  {at:%H:%M}  {kind:<16}  {_about(line):<40}  {_way(line)}"
    if line["joined_to"] is not None:
        yield f"         said in one with that of {line['joined_to']}"
    if line["state"] != Message.State.SENT:
        yield f"         {_STATES[line['state']]}"
    if line["reasons"]:
        yield f"         why: {'; '.join(line['reasons'])}"


def _tapes(lines: list[Line]) -> Iterator[str]:
    tapes = [line for line in lines if line["type"] == "application"]
    if tapes:
        yield "\nTape at the end of this time"
    for line in tapes:
        days = f"comes off {line['removal_day']}; wear window {line['opens_on']} to {line['closes_on']}"
        yield f"  {line['state']:<8} {line['ref']!s:<28} {days}"


def _calls(lines: list[Line], zone: ZoneInfo) -> Iterator[str]:
    calls = [line for line in lines if line["type"] == "call"]
    yield "\nWhom to call at the end of this time" if calls else "\nNobody is on the call list at the end of this time."
    for line in calls:
        since = _local(line["since"], zone)
        yield f"  {_REASONS[line['reason']]:<36} {_about(line):<40} since {day_words(since.date())}, {since:%H:%M}"


def _about(line: Line) -> str:
    return ", ".join(str(line[key]) for key in ("patient", "application") if line[key] is not None)


def _way(line: Line) -> str:
    return f"{_CHANNELS[line['channel']]} to {line['to']}" if line["channel"] else ""


def _local(at: str, zone: ZoneInfo) -> datetime:
    return datetime.fromisoformat(at).astimezone(zone)
