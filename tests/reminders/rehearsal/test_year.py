"""No tape is ever forgotten: at every moment each is ended, or inside its window, or on the call list.

Where nothing ticks nothing can be put on the list: during an outage the promise holds from the first tick after it.
Checked over long times from what was recorded, so for every moment at once; a direct look at the rows at many moments
must come to the same.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from clinic.models import Event
from clinic.rules.local_time import day_starts
from reminders.models import CallItem, Message
from reminders.rehearsal.clockwork import Happening
from reminders.rehearsal.play import play
from reminders.rehearsal.reading import read_scenario
from reminders.rehearsal.scenario import Outage, Scenario, Texted
from reminders.rehearsal.ways import Handed
from taping.models import Application
from tests.reminders.rehearsal.year import FIRST, ZONE, at, scenario

pytestmark = pytest.mark.django_db

Span = tuple[datetime, datetime]
FAR = datetime(9999, 1, 1, tzinfo=UTC)
SECOND = timedelta(seconds=1)
_DAY = timedelta(days=1)
LOOKS = 60


@dataclass
class Played:
    """What a long play left behind, and what direct looks at the rows found while it went on."""

    scenario: Scenario
    handed: list[Handed]
    looks: dict[datetime, set[int]] = field(default_factory=dict)

    @property
    def outages(self) -> list[Span]:
        """Each up to the first tick after it."""
        spans = [(one.at, one.until) for one in self.scenario.events if isinstance(one, Outage)]
        return [(begins, self._next_tick(ends)) for begins, ends in spans]

    def _next_tick(self, moment: datetime) -> datetime:
        behind = (moment - self.scenario.starts_at) / self.scenario.tick
        return self.scenario.starts_at - int(-behind // 1) * self.scenario.tick


def forgotten_now(now: datetime) -> set[int]:
    """Asked directly: tape on after its window that nobody is told to call about."""
    today = now.astimezone(ZONE).date()
    listed = CallItem.objects.filter(reason=CallItem.Reason.OVERDUE, closed_at=None).values("application")
    late = Application.objects.filter(ended_at=None, closes_on__lt=today)
    return set(late.exclude(pk__in=listed).values_list("pk", flat=True))


def played(file: dict[str, Any]) -> Played:
    read = read_scenario(file)
    result = Played(read, [])
    looks = [Happening(moment, _look(result.looks)) for moment in moments(read)]
    refused: list[str] = []
    _, ways = play(read, tell=refused.append, also=looks)
    result.handed = ways.handed
    # A patient who is taped twice at one place, or ended before: a tenth may be refused, not more.
    assert len(refused) < len(read.applications) / 10, refused[:5]
    return result


def _look(into: dict[datetime, set[int]]) -> Callable[[datetime], None]:
    def look(now: datetime) -> None:
        into[now] = forgotten_now(now)

    return look


def moments(read: Scenario) -> list[datetime]:
    """A second before and after midnights, ends of outages and changes of the clocks, and some in between."""
    midnights = [day_starts((read.starts_at + number * _DAY).astimezone(ZONE).date(), ZONE) for number in range(1, 400)]
    changes = [
        one for one in midnights if (one + _DAY).astimezone(ZONE).utcoffset() != one.astimezone(ZONE).utcoffset()
    ]
    ends = [one.until for one in read.events if isinstance(one, Outage)]
    inside = [one for one in midnights if one < read.ends_at]
    some = inside[:: max(1, len(inside) // LOOKS)]
    chosen = [*some, *ends, *changes, *(one + timedelta(hours=2) for one in changes), *(one + _DAY / 2 for one in some)]
    found = {one + step for one in chosen for step in (-SECOND, SECOND)}
    return sorted(one for one in found if read.starts_at < one < read.ends_at)


def covered(application: Application, items: Iterable[CallItem], opened: Mapping[int, datetime]) -> list[Span]:
    """When the tape is inside its window, ended, or called about, from the times that were recorded."""
    spans = [(application.applied_at, day_starts(application.closes_on + _DAY, ZONE))]
    if application.ended_at is not None:
        spans.append((application.ended_at, FAR))
    spans += [(opened[item.pk], item.closed_at or FAR) for item in items if item.reason == CallItem.Reason.OVERDUE]
    return spans


def holes(spans: Iterable[Span], until: datetime) -> list[Span]:
    """What lies between the spans, from the first one's beginning to `until`."""
    found: list[Span] = []
    ordered = sorted(spans)
    reached = ordered[0][0]
    for begins, ends in ordered:
        if begins > reached and reached < until:
            found.append((reached, min(begins, until)))
        reached = max(reached, ends)
    return [*found, (reached, until)] if reached < until else found


def all_holes(play: Played) -> dict[int, list[Span]]:
    opened = {int(pk): at for pk, at in Event.objects.filter(verb="call.opened").values_list("subject_id", "at")}
    items: dict[int | None, list[CallItem]] = {}
    for item in CallItem.objects.all():
        items.setdefault(item.application_id, []).append(item)
    return {
        one.pk: holes(covered(one, items.get(one.pk, ()), opened), play.scenario.ends_at)
        for one in Application.objects.all()
    }


def assert_nobody_is_forgotten(play: Played) -> None:
    found = all_holes(play)
    assert found
    for pk, spans in found.items():
        for begins, ends in spans:
            # No hole but inside one outage, and closed by the first tick after it.
            assert any(out <= begins and ends <= back for out, back in play.outages), (pk, begins, ends)
    assert len(play.looks) >= min(LOOKS, 50)
    for moment, forgotten in play.looks.items():
        from_times = {pk for pk, spans in found.items() if any(begins <= moment < ends for begins, ends in spans)}
        assert forgotten == from_times, moment


def assert_messages_are_civil(play: Played) -> None:
    zones = {one.ref: ZoneInfo(one.time_zone or ZONE.key) for one in play.scenario.patients}
    by_address = {address: one.ref for one in play.scenario.patients for address in (one.phone, one.email) if address}
    agreed = _consents(play.scenario)
    for one in play.handed:
        patient = by_address[one.outgoing.to]
        if one.outgoing.kind == "stop_confirmed":
            continue
        assert time(8) <= one.outgoing.at.astimezone(zones[patient]).time() < time(21), one
        assert any(begins <= one.outgoing.at < ends for begins, ends in agreed[patient]), one
    ends = dict(Message.objects.values_list("key", "expires_at"))
    assert [one for one in play.handed if one.outgoing.at >= ends[one.outgoing.key]] == []


def _consents(read: Scenario) -> dict[str, list[Span]]:
    """When each patient agreed to messages, from what the file says."""
    spans: dict[str, list[Span]] = {}
    for patient in read.patients:
        told = [
            (event.at, event.text)
            for event in read.events
            if isinstance(event, Texted) and event.patient == patient.ref
        ]
        since = read.starts_at if patient.consents else None
        own: list[Span] = []
        for moment, text in sorted(told):
            if text == "START" and since is None and (own or patient.consents):
                since = moment
            elif text != "START" and since is not None:
                own.append((since, moment))
                since = None
        spans[patient.ref] = [*own, *([(since, FAR)] if since is not None else [])]
    return spans


def assert_nothing_twice(play: Played) -> None:
    times = Counter(one.outgoing.key for one in play.handed)
    for row in Message.objects.all():
        assert times[row.key] <= (2 if row.safety and row.repeats else 1), row


def check(play: Played) -> None:
    assert_nobody_is_forgotten(play)
    assert_messages_are_civil(play)
    assert_nothing_twice(play)


@pytest.mark.parametrize(
    ("seed", "first"),
    [(1, FIRST), (2, datetime(2027, 3, 8, tzinfo=ZONE)), (3, datetime(2027, 11, 1, tzinfo=ZONE))],
    ids=["winter", "clocks forward", "clocks back"],
)
def test_over_weeks_no_tape_is_forgotten_at_any_moment(seed: int, first: datetime) -> None:
    check(played(scenario(seed=seed, applications=130, days=21, first=first)))


@pytest.mark.parametrize("days", [6.02, 8.43, 11.77])
def test_cut_off_anywhere_it_has_forgotten_nobody(days: float) -> None:
    """Played to there and no further, and the rows looked at directly; without outages, in which nothing ticks."""
    until = FIRST + days * _DAY
    file = scenario(seed=5, applications=40, days=9)
    events = [event for event in file["events"] if event["what"] != "outage"]
    read = read_scenario(file | {"events": events, "until": at(until)})
    play(read, tell=lambda words: None)
    late = Application.objects.filter(ended_at=None, closes_on__lt=until.date()).count()
    assert late > 0
    assert forgotten_now(until) == set()


@pytest.mark.long
def test_over_a_year_no_tape_is_forgotten_at_any_moment() -> None:
    check(played(scenario(seed=2027, applications=6000, days=355)))
