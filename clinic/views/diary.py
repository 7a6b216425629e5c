"""The diary: a day by therapist, or a week."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from clinic.models import User, Visit
from clinic.rules.slots import FreeTime
from clinic.selectors import therapists
from clinic.selectors.diary import DiaryDay, diary_columns, diary_days
from clinic.views.access import STAFF, clinic_of, for_roles, user_of
from clinic.views.booking import day_in
from clinic.views.posting import number_in

WEEK = 7


@for_roles(*STAFF)
@require_GET
def diary(request: HttpRequest) -> HttpResponse:
    """One day, each therapist apart; or with ?view=week seven days, of one therapist or of all."""
    now, today = timezone.now(), timezone.localdate()
    chosen, week, zone = day_in(request, "day") or today, request.GET.get("view") == "week", clinic_of(request).zone
    staff = list(therapists())
    only = _only(request, staff)
    first, count = (chosen - timedelta(days=chosen.weekday()), WEEK) if week else (chosen, 1)
    context: dict[str, Any] = {
        "week": week,
        "day": chosen,
        "first": first,
        "last": first + timedelta(days=count - 1),
        "today": today,
        "now": now,
        "therapists": staff,
        "only": only,
        "earlier": first - timedelta(days=count),
        "later": first + timedelta(days=count),
    }
    if week:
        context["days"] = diary_days(first, count, therapist=only, zone=zone)
    else:
        columns = diary_columns(chosen, [only] if only else staff, only=only is not None, now=now, zone=zone)
        context["columns"] = [(column, _rows(column, now, shown=chosen == today)) for column in columns]
    return render(request, "clinic/diary.html", context)


def _only(request: HttpRequest, staff: Sequence[User]) -> User | None:
    """Whose diary is asked for; a therapist who does not say sees their own, the desk sees all."""
    wanted = number_in(request, "therapist") if "therapist" in request.GET else user_of(request).pk
    return next((one for one in staff if one.pk == wanted), None)


def _rows(column: DiaryDay, now: datetime, *, shown: bool) -> list[tuple[str, Visit | FreeTime | None]]:
    """The column's visits and what is free between them, in order; now, where it is to be shown, before what comes."""
    visits: list[tuple[str, Visit | FreeTime | None]] = [("visit", visit) for visit in column.visits]
    free = [("free", one) for one in column.free]
    rows = sorted([*visits, *free], key=lambda row: row[1].starts_at if row[1] else now)
    begun = sum(visit.starts_at <= now for visit in column.visits)
    return [*rows[:begun], ("now", None), *rows[begun:]] if shown and rows else rows
