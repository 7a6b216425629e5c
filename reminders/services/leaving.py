"""The patient goes home with tape on: nobody does so unreachable without the desk knowing at once."""

from datetime import datetime

from django.db import transaction

from clinic.services.events import Actor
from reminders.models import CallItem
from reminders.rules.leaving import Leaving, may_leave
from reminders.selectors.leaving import ways_of
from reminders.services.call_list import Call, call_open
from taping.models import Application
from taping.services.handing_over import MOST_WHY, hand_over
from taping.services.refusals import TapingRefused

NO_WAY = "Nobody could tell this patient that the tape has to come off. Put one of these right, or write why not: "


def leaving_of(application: Application) -> Leaving:
    """Whether the patient of this tape may go home as things stand."""
    return may_leave(ways_of(application))


@transaction.atomic
def patient_leaves(
    *, actor: Actor, now: datetime, application: Application, said_back: bool, not_said_why: str, left_why: str
) -> Application:
    """Hand the patient over. Without a way to reach them that takes left_why, and a call about it opens at once.

    now: aware. Raises TapingRefused, also where hand_over does.
    """
    rows = Application.objects.select_for_update(of=("self",)).select_related("patient")
    current = rows.prefetch_related("patient__helpers").get(pk=application.pk)
    leaving, why = leaving_of(current), left_why.strip()[:MOST_WHY]
    if current.handed_over_at is None and not leaving.may and not why:
        raise TapingRefused(NO_WAY + "; ".join(leaving.reasons) + ".", "left_why")
    handed = hand_over(actor=actor, now=now, application=current, said_back=said_back, not_said_why=not_said_why)
    if current.handed_over_at is None and not leaving.may:
        call = Call(patient=current.patient, reason=CallItem.Reason.UNREACHABLE, since=now, application=current)
        item = call_open(actor=actor, now=now, call=call)
        item.note = f"{item.note}\nWent home with tape on, cannot be reached: {why}".strip()
        item.save(update_fields=["note"])
    return handed
