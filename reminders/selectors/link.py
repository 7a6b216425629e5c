"""What the patient's page needs to know beside the tape itself."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from clinic.selectors import closed_days, hours_of
from reminders.models import CallItem
from reminders.rules.opening import LOOK_AHEAD, Opening, opening
from taping.models import Application, SkinReport, Strip, StripEvent
from taping.rules.clock import local_date


def opening_at(now: datetime, zone: ZoneInfo) -> Opening:
    """The clinic's own hours and closures around now (aware). Two queries."""
    today = local_date(now, zone)
    return opening(now, zone, hours_of(None), closed_days(today, today + timedelta(days=LOOK_AHEAD)))


def reports_open(tape: Application) -> list[SkinReport]:
    """The skin reports about this tape that no therapist has closed yet, the latest first."""
    return list(SkinReport.objects.filter(application=tape, closed_at=None).order_by("-reported_at", "-id"))


def call_is_open(tape: Application) -> bool:
    """Whether the patient asked to be called and nobody has done so yet."""
    asked = CallItem.objects.filter(patient=tape.patient_id, reason=CallItem.Reason.CALL_BACK, closed_at=None)
    return asked.exists()


def strips_top_first(tape: Application) -> list[Strip]:
    """The strips that are still on, in the order in which they come off: the last one laid lies on top."""
    gone = StripEvent.objects.filter(application=tape, what=StripEvent.What.STRIP_OFF, taken_back_at=None)
    off = gone.filter(strip__isnull=False).values("strip")
    return list(Strip.objects.filter(plan=tape.plan_id).exclude(pk__in=off).order_by("-position"))


def other_places(tape: Application) -> list[tuple[str, str]]:
    """The regions and sides of the other tape that the same patient wears."""
    others = Application.objects.filter(patient=tape.patient_id, ended_at=None).exclude(pk=tape.pk)
    return list(others.order_by("applied_at", "id").values_list("region", "side"))


def days_of(tape: Application, zone: ZoneInfo) -> list[date]:
    """The clinic's days from the day of the tape to the last of its window."""
    first = local_date(tape.applied_at, zone)
    return [first + timedelta(days=number) for number in range((tape.closes_on - first).days + 1)]
