"""When the clinic will not work: its country's holidays, and what is booked while somebody is away."""

from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import holidays
from django.db.models import QuerySet

from clinic.models import Closure, User, Visit
from clinic.models.visits import TAKES_TIME
from clinic.selectors import day_range

LOOK_AHEAD = timedelta(days=365)


@dataclass(frozen=True, slots=True)
class Holiday:
    day: date
    name: str


def holidays_ahead(country: str, region: str, today: date) -> list[Holiday]:
    """The public holidays of a year from today on that are not marked as closed; none where unknown.

    country: ISO 3166 letters. region: one of regions_of(country), whose own days are then among them; "" gives the
    national ones. The days come from the package holidays; in English where it has the names.
    """
    # What an older or newer version of the package does not know is passed over: the national days are still right.
    subdiv = region if region in dict(regions_of(country)) else None
    try:
        found = holidays.country_holidays(country, subdiv=subdiv, years=[today.year, today.year + 1], language="en_US")
    except NotImplementedError:
        return []
    marked = set(Closure.objects.filter(therapist=None, day__gte=today).values_list("day", flat=True))
    days = [Holiday(day, name) for day, name in found.items() if today <= day < today + LOOK_AHEAD]
    return sorted((one for one in days if one.day not in marked), key=lambda one: one.day)


def regions_of(country: str) -> list[tuple[str, str]]:
    """The parts of a country (ISO 3166 letters) that have holidays of their own: as stored, and as people say it."""
    codes = holidays.list_supported_countries().get(country, [])
    if not codes:
        return []
    aliases = holidays.country_holidays(country).subdivisions_aliases
    # Of several names the first, unless it is letters of another list of codes.
    names = {code: name for name, code in reversed(aliases.items()) if not name.isupper()}
    return sorted(((code, names.get(code, code)) for code in codes), key=lambda one: one[1])


def absences(therapist: User, today: date) -> QuerySet[Closure]:
    """The days from today on on which this therapist alone does not work."""
    return Closure.objects.filter(therapist=therapist, day__gte=today).order_by("day")


def visits_on(therapist: User, days: set[date], zone: ZoneInfo) -> list[Visit]:
    """Visits that still take the therapist's time on any of these local days; one query."""
    if not days:
        return []
    start, end = day_range(min(days), zone)[0], day_range(max(days), zone)[1]
    found = Visit.objects.filter(therapist=therapist, state__in=TAKES_TIME, starts_at__gte=start, starts_at__lt=end)
    rows = found.select_related("patient").order_by("starts_at")
    return [visit for visit in rows if visit.starts_at.astimezone(zone).date() in days]
