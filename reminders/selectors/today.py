"""The rest of Today: visits, follow-ups to book, signatures that are open."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef, QuerySet

from clinic.models import User, Visit
from clinic.selectors import day_range, visits_between
from taping.models import Application
from taping.rules.clock import local_date

MISSED_SINCE = timedelta(days=7)
MOST = 50


@dataclass(frozen=True, slots=True)
class FollowUps:
    """What the desk still has to book: removals without a visit, and visits nobody came to and nobody rebooked."""

    removals: list[Application]
    missed: list[Visit]


def visits_of_day(*, now: datetime, zone: ZoneInfo, therapist: User | None = None) -> QuerySet[Visit]:
    """The visits of the clinic's day that holds now, cancelled ones left out, of everybody or of one therapist."""
    visits = visits_between(*day_range(local_date(now, zone), zone)).exclude(state=Visit.State.CANCELLED)
    return visits.filter(therapist=therapist) if therapist else visits


def follow_ups(*, now: datetime, zone: ZoneInfo) -> FollowUps:
    """Two queries. A removal is to be booked while the tape is on, the clinic takes it off and no visit stands."""
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
    return FollowUps(list(removals), list(missed))


def signatures_open(supervisor: User) -> QuerySet[Application]:
    """A student's tapings that this supervisor has not signed yet, the oldest first."""
    return (
        Application.objects.filter(supervisor=supervisor, countersigned_at=None)
        .select_related("patient", "therapist")
        .order_by("applied_at", "id")
    )
