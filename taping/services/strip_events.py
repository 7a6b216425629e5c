"""What happens to single strips while the tape is worn. Nothing here moves a day, a wait or a message of the tape."""

from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from clinic.selectors import clinic_get
from clinic.services.events import Actor, event_record
from taping.models import Application, SkinReport, Strip, StripEvent
from taping.rules.clock import local_date
from taping.rules.strips_worn import strips_worn
from taping.rules.wear import spell_day
from taping.services.refusals import TapingRefused

MOST_NOTE = 300
What = StripEvent.What


class LastStrip(TapingRefused):
    """The strip that came off was the last one: whoever records it is asked first, and then the tape ends."""


@dataclass(frozen=True, slots=True)
class StripHappening:
    """What happened, when (aware), to the strip at which position of the plan, and by whom, as "patient"."""

    what: str
    at: datetime
    position: int | None = None
    by: str = ""
    note: str = ""


@transaction.atomic
def strip_event_record(
    *, actor: Actor, now: datetime, application: Application, happening: StripHappening
) -> StripEvent:
    """Put one happening on the tape's record. now: aware. Raises TapingRefused; LastStrip where the tape would end."""
    current = Application.objects.select_for_update(of=("self",)).select_related("patient").get(pk=application.pk)
    _refuse_time(current, happening.at, now)
    if len(happening.note) > MOST_NOTE:
        raise TapingRefused(f"The note is longer than {MOST_NOTE} letters. Shorten it.", "note")
    strip = _strip(current, happening)
    if happening.what == What.STRIP_OFF:
        _refuse_last(current, strip, happening)
    if happening.what == What.STRIP_REPLACED:
        _refuse_new_strip(current, happening.at)
    row = StripEvent.objects.create(
        application=current,
        strip=strip,
        what=What(happening.what),
        at=happening.at,
        by=happening.by[:40],
        note=happening.note.strip(),
        saved_at=now,
        saved_by=actor.user,
    )
    event_record(actor=actor, verb=f"strip.{row.what}", subject=row, patient=current.patient, now=now)
    return row


@transaction.atomic
def strip_event_take_back(*, actor: Actor, now: datetime, happened: StripEvent, why: str) -> StripEvent:
    """What was put on record by mistake no longer counts, and stays readable with the reason. Raises TapingRefused.

    Taken back already: it stays as it is.
    """
    tape = Application.objects.select_for_update(of=("self",)).select_related("patient").get(pk=happened.application_id)
    current = StripEvent.objects.select_for_update(of=("self",)).get(pk=happened.pk)
    if current.taken_back_at is not None:
        return current
    if not why.strip():
        raise TapingRefused("Say why it is taken back.", "why")
    if len(why) > MOST_NOTE:
        raise TapingRefused(f"The reason is longer than {MOST_NOTE} letters. Shorten it.", "why")
    if tape.ended_at is not None:
        raise TapingRefused("This tape is off, and its record stands.")
    if positions_of(tape) and not positions_worn(tape, but=current):
        raise TapingRefused("Then no strip would be on. Record the end of the tape instead.")
    current.taken_back_at, current.taken_back_by, current.taken_back_why = now, actor.user, why.strip()
    current.save(update_fields=["taken_back_at", "taken_back_by", "taken_back_why"])
    event_record(actor=actor, verb="strip.taken_back", subject=current, patient=tape.patient, now=now)
    return current


def positions_of(application: Application) -> tuple[int, ...]:
    """The strips the tape began with, by position."""
    return tuple(Strip.objects.filter(plan=application.plan_id).order_by("position").values_list("position", flat=True))


def positions_worn(application: Application, *, but: StripEvent | None = None) -> tuple[int, ...]:
    """The strips that are on now; but: an event that is to be left out."""
    counts = application.strip_events.filter(taken_back_at=None)
    if but is not None:
        counts = counts.exclude(pk=but.pk)
    changes = counts.order_by("at", "id").values_list("what", "strip__position")
    return strips_worn(positions_of(application), changes)


def _refuse_time(application: Application, at: datetime, now: datetime) -> None:
    if application.ended_at is not None:
        raise TapingRefused("This tape is off already; nothing more happens to its strips.")
    if at > now:
        raise TapingRefused("That time is still to come. Give the time at which it happened.", "at")
    if at < application.applied_at:
        raise TapingRefused("That is before the tape went on. Give the time at which it happened.", "at")


def _strip(application: Application, happening: StripHappening) -> Strip | None:
    if happening.what not in What.values:
        raise TapingRefused("Choose what happened.", "what")
    if happening.position is None:
        if happening.what == What.EDGE_TRIMMED:
            return None
        raise TapingRefused("Choose which strip.", "strip")
    strip = Strip.objects.filter(plan=application.plan_id, position=happening.position).first()
    if strip is None:
        raise TapingRefused("This tape has no such strip. Choose one of its strips.", "strip")
    return strip


def _refuse_last(application: Application, strip: Strip | None, happening: StripHappening) -> None:
    worn = positions_worn(application)
    if strip is None or strip.position not in worn:
        raise TapingRefused("That strip is off already. Choose the strip that came off.", "strip")
    if worn == (strip.position,):
        raise LastStrip("That was the last strip: the tape ends with it.", "strip")
    earlier = application.strip_events.filter(strip=strip, taken_back_at=None, at__gt=happening.at)
    if earlier.exists():
        raise TapingRefused("Something later is on record for this strip. Give a later time, or take that back.", "at")


def _refuse_new_strip(application: Application, at: datetime) -> None:
    """A new piece of tape goes neither onto skin that reacts nor onto skin whose days are over."""
    if SkinReport.objects.filter(application=application, closed_at=None).exists():
        raise TapingRefused(
            "A skin report of this tape is still open, so no new strip goes on. A therapist closes the report first."
        )
    if local_date(at, clinic_get().zone) > application.closes_on:
        raise TapingRefused(
            f"The last day was {spell_day(application.closes_on)}: the tape comes off, and no new strip goes on."
        )
