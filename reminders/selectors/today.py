"""The rest of Today: visits, follow-ups to book, signatures that are open."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef, QuerySet, Subquery

from clinic.models import User, Visit
from clinic.selectors import day_range, visits_between
from taping.models import Application, SkinReport
from taping.rules.clock import local_date

MISSED_SINCE = timedelta(days=7)
MOST = 50


@dataclass(frozen=True, slots=True)
class FollowUps:
    """What the desk still has to book: removals without a visit, visits nobody came to and nobody rebooked, and skin
    that a therapist wants to see again."""

    removals: list[Application]
    missed: list[Visit]
    looks: list[SkinReport]

    @property
    def count(self) -> int:
        return len(self.removals) + len(self.missed) + len(self.looks)

    @property
    def more(self) -> bool:
        """Whether one of the lists was cut short."""
        return any(len(one) >= MOST for one in (self.removals, self.missed, self.looks))


def visits_of_day(*, now: datetime, zone: ZoneInfo, therapist: User | None = None) -> QuerySet[Visit]:
    """The visits of the clinic's day that holds now, cancelled ones left out, of everybody or of one therapist."""
    visits = visits_between(*day_range(local_date(now, zone), zone)).exclude(state=Visit.State.CANCELLED)
    return visits.filter(therapist=therapist) if therapist else visits


def follow_ups(*, now: datetime, zone: ZoneInfo) -> FollowUps:
    """Three queries. A removal is to be booked while the tape is on, the clinic takes it off and no visit stands."""
    removals = (
        Application.objects.filter(ended_at=None, removal=Application.Removal.CLINIC, removal_visit=None)
        .select_related("patient")
        .order_by("closes_on", "id")[:MOST]
    )
    later = Visit.objects.filter(
        patient=OuterRef("patient"), starts_at__gt=OuterRef("starts_at"), state__in=["booked", "arrived", "done"]
    )
    missed = (
        Visit.objects.filter(state=Visit.State.DID_NOT_ATTEND, starts_at__gte=now - MISSED_SINCE, starts_at__lte=now)
        .exclude(Exists(later))
        .select_related("patient", "therapist")
        .order_by("starts_at", "id")[:MOST]
    )
    return FollowUps(list(removals), list(missed), _looks(now=now, zone=zone))


def _looks(*, now: datetime, zone: ZoneInfo) -> list[SkinReport]:
    """Reports whose skin is to be looked at again, from a week ago on, without a visit on that day or later."""
    visits = Visit.objects.filter(patient=OuterRef("patient"), state__in=["booked", "arrived", "done"])
    reports = (
        SkinReport.objects.filter(follow_up_on__gte=local_date(now - MISSED_SINCE, zone))
        .annotate(last_visit=Subquery(visits.order_by("-starts_at").values("starts_at")[:1]))
        .select_related("patient", "application")
        .order_by("follow_up_on", "id")[:MOST]
    )
    return [one for one in reports if not _seen_by(getattr(one, "last_visit", None), one.follow_up_on, zone)]


def _seen_by(visit: datetime | None, day: date | None, zone: ZoneInfo) -> bool:
    return visit is not None and day is not None and local_date(visit, zone) >= day


def signatures_open(supervisor: User) -> QuerySet[Application]:
    """A student's tapings that this supervisor has not signed yet, the oldest first."""
    return (
        Application.objects.filter(supervisor=supervisor, countersigned_at=None)
        .select_related("patient", "therapist")
        .order_by("applied_at", "id")
    )
