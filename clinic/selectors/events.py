"""Reads of the event table."""

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Q, QuerySet

from clinic.models import Event, Patient
from clinic.rules.event_words import SEEN, event_words, nouns_of
from clinic.rules.local_time import day_starts

MOST_SEEN = 5_000


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is looked for; all None or empty: everything. first and last are clinic-zone dates, both included.

    actor: the id of a member of staff, or a word such as "patient link". patients: their ids, an empty list finds none.
    """

    patients: list[int] | None = None
    actor: int | str | None = None
    kind: str = ""
    first: date | None = None
    last: date | None = None


def events_find(wanted: Wanted, zone: ZoneInfo) -> QuerySet[Event]:
    """The events wanted, the newest first, with who did it and whom it is about."""
    found = Event.objects.select_related("actor", "patient").order_by("-at", "-id")
    if wanted.patients is not None:
        found = found.filter(patient__in=wanted.patients)
    if isinstance(wanted.actor, int):
        found = found.filter(actor=wanted.actor)
    elif wanted.actor:
        found = found.filter(actor=None, actor_word=wanted.actor)
    if wanted.kind:
        found = found.filter(verb__in=_verbs(wanted.kind))
    if wanted.first:
        found = found.filter(at__gte=day_starts(wanted.first, zone))
    if wanted.last:
        found = found.filter(at__lt=day_starts(wanted.last + timedelta(days=1), zone))
    return found


def settings_version() -> int:
    """What a form of the clinic's settings is based on; any later change of them raises it."""
    latest = _settings_saved().values_list("pk", flat=True).first()
    return latest or 0


def settings_saved_since(version: int | None, fields: Collection[str]) -> list[Event]:
    """The changes of one of these fields after settings_version said so, newest first, with who did it."""
    if version is None:
        return []
    since = _settings_saved().filter(pk__gt=version).select_related("actor")
    return [event for event in since if not set(fields).isdisjoint(event.fields)]


def _settings_saved() -> QuerySet[Event]:
    return Event.objects.filter(verb="clinic.changed").order_by("-id")


def _verbs(kind: str) -> list[str]:
    """The verbs of a kind that stand in the table: a few dozen, found by one walk over an index."""
    if kind == "seen":
        return sorted(SEEN)
    nouns = nouns_of(kind)
    known = Event.objects.order_by("verb").values_list("verb", flat=True).distinct()
    return [verb for verb in known if verb.partition(".")[0] in nouns and verb not in SEEN]


def events_after(found: QuerySet[Event], last_id: int | None, count: int) -> tuple[list[Event], bool]:
    """The next `count` events after the one with last_id, and whether more follow. By key, so that a page deep in the
    log costs what the first one costs, and new events do not shift it."""
    last = Event.objects.filter(pk=last_id).only("at").first() if last_id else None
    if last is not None:
        found = found.filter(Q(at__lt=last.at) | Q(at=last.at, id__lt=last.pk), at__lte=last.at)
    rows = list(found[: count + 1])
    return rows[:count], len(rows) > count


@dataclass(slots=True)
class Sight:
    """On one day one person did one thing with a record, so many times; first_at is aware."""

    day: date
    who: str
    what: str
    first_at: datetime
    times: int = 1


def record_seen(patient: Patient, zone: ZoneInfo) -> tuple[list[Sight], bool]:
    """Who saw or changed a patient's record, by day, the latest first, and whether older events were left out."""
    events = Event.objects.filter(patient=patient).select_related("actor").order_by("-at", "-id")[: MOST_SEEN + 1]
    rows = list(events)
    return list(_sights(rows[:MOST_SEEN], zone)), len(rows) > MOST_SEEN


def _sights(events: Iterable[Event], zone: ZoneInfo) -> Iterator[Sight]:
    found: dict[tuple[date, str, str], Sight] = {}
    for event in events:
        day = event.at.astimezone(zone).date()
        who, what = who_words(event), event_words(event.verb)
        sight = found.get((day, who, what))
        if sight is None:
            found[day, who, what] = Sight(day, who, what, event.at)
        else:
            sight.times += 1
            sight.first_at = event.at
    yield from found.values()


def who_words(event: Event) -> str:
    """Who did it: a person's name, or where nobody was logged in, what acted."""
    if event.actor is not None:
        return event.actor.full_name
    return {
        "engine": "the program by itself",
        "patient link": "the patient or a helper, by the link",
        "log-in": "somebody not logged in",
    }.get(event.actor_word, event.actor_word or "not known")
