"""The clinic's rolls of tape: entered, measured by three ruler readings, put away."""

from datetime import datetime

from django.db import transaction

from clinic.selectors import clinic_get
from clinic.services.events import Actor, event_record
from taping.models import TapeRoll
from taping.rules.readings import ReadingError, check_readings
from taping.rules.tape import Tape
from taping.selectors import unit_of
from taping.services.refusals import TapingRefused

MEASURED = ("paper_mm", "relaxed_mm", "full_mm", "pre_stretch", "limit", "measured_at", "measured_by")


@transaction.atomic
def roll_add(*, actor: Actor, now: datetime, roll: TapeRoll) -> TapeRoll:
    """Enter a roll that is not measured yet. Raises TapingRefused where the same one is in use already."""
    same = TapeRoll.objects.filter(name=roll.name, colour=roll.colour, lot=roll.lot, in_use=True)
    if same.exists():
        raise TapingRefused("This roll is in the list already. Give its lot to tell them apart.", "lot")
    roll.save()
    event_record(actor=actor, verb="roll.added", subject=roll, now=now)
    return roll


@transaction.atomic
def roll_measure(*, actor: Actor, now: datetime, roll: TapeRoll, readings: tuple[float, float, float]) -> TapeRoll:
    """Store the numbers that three readings make known. readings: in mm, on the backing, relaxed, fully stretched.

    Plans not laid yet are reckoned with the new numbers; tapes on record keep theirs. Raises TapingRefused.
    """
    current = TapeRoll.objects.select_for_update().get(pk=roll.pk)
    paper, relaxed, full = readings
    try:
        check_readings(paper, relaxed, full, unit_of(clinic_get()))
    except ReadingError as impossible:
        raise TapingRefused(str(impossible), impossible.field) from impossible
    tape = Tape.measured(paper, relaxed, full, square_mm=current.square_mm, width_mm=current.width_mm)
    current.paper_mm, current.relaxed_mm, current.full_mm = readings
    current.pre_stretch, current.limit = tape.pre_stretch, tape.limit
    current.measured_at, current.measured_by = now, actor.user
    current.save(update_fields=MEASURED)
    event_record(actor=actor, verb="roll.measured", subject=current, now=now, fields=MEASURED)
    return current


@transaction.atomic
def roll_set_use(*, actor: Actor, now: datetime, roll: TapeRoll, in_use: bool) -> TapeRoll:
    """Put a roll away, or back into the choice; repeating it changes nothing."""
    current = TapeRoll.objects.select_for_update().get(pk=roll.pk)
    if current.in_use != in_use:
        current.in_use = in_use
        current.save(update_fields=["in_use"])
        verb = "roll.returned" if in_use else "roll.put_away"
        event_record(actor=actor, verb=verb, subject=current, now=now, fields=["in_use"])
    return current
