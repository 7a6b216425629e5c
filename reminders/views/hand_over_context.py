"""What the page of a tape that is on shows for handing the patient over."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.http import HttpRequest

from clinic.models import User
from clinic.views.access import clinic_of, user_of
from reminders.forms.handing_over import HandOverForm
from reminders.models import Message
from reminders.selectors.handing_over import UNDER_WAY, first_of, times_in_window, visits_in_window
from reminders.services.leaving import leaving_of
from taping.models import Application


def hand_over_context(
    request: HttpRequest, tape: Application, now: datetime, *, sent: Sequence[Message], form: HandOverForm | None
) -> dict[str, Any]:
    """Template context; sent: the tape's messages; form: one that was refused. now: aware."""
    zone, user = clinic_of(request).zone, user_of(request)
    therapist = user if user.is_therapist else tape.therapist
    visits = visits_in_window(tape, zone)
    context: dict[str, Any] = {
        "window_visits": visits,
        "with_therapist": therapist,
        "offered": () if visits or not _treats(therapist) else times_in_window(tape, therapist, now=now, zone=zone),
        **first_message_context(tape, first_of(sent)),
    }
    if user.tapes and (tape.handed_over_at is None or form is not None):
        context |= {"form": form or hand_over_form(tape), "leaving": leaving_of(tape)}
    return context


def hand_over_form(tape: Application, *data: Any) -> HandOverForm:
    return HandOverForm(*data, tape=tape, helpers=list(tape.patient.helpers.all()))


def first_message_context(tape: Application, message: Message | None) -> dict[str, Any]:
    """Whether the first message went; waits: it is still to come by itself, so that the page asks again."""
    expected = tape.patient.consents and tape.ended_at is None
    return {
        "tape": tape,
        "first": message,
        "first_state": message.state if message else "",
        "waits": message.state in UNDER_WAY if message else expected,
        "joined": message is not None and message.joined_to_id is not None,
    }


def _treats(user: User) -> bool:
    return user.is_therapist and user.is_active
