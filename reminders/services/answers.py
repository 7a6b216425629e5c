"""What a patient, or the adult who helps, tells the clinic about the tape."""

from collections.abc import Iterable
from datetime import datetime

from django.db import transaction

from clinic.models import Helper
from clinic.selectors import recipient_of
from clinic.services.events import Actor
from reminders.models import CallItem
from reminders.services.call_list import Call, call_open, calls_close_ended
from reminders.services.duty import duty_tell
from taping.models import Application, SkinReport
from taping.rules.report import Advice, Urgency
from taping.services.applications import application_end
from taping.services.reports import advice_for, report_save

BY_LINK = Actor(word="patient link")
BY_TEXT = Actor(word="text message")

_URGENT = (Urgency.TODAY, Urgency.EMERGENCY)


def answer_off(*, now: datetime, application: Application, actor: Actor = BY_LINK) -> Application:
    """The tape is off since now (aware). The first ending stands; what was still to be said is planned anew."""
    return _end(actor, now, application, Application.Ending.OFF)


def answer_came_off(*, now: datetime, application: Application, actor: Actor = BY_LINK) -> Application:
    """It came off by itself."""
    return _end(actor, now, application, Application.Ending.CAME_OFF)


@transaction.atomic
def answer_skin(
    *, now: datetime, application: Application, signs: Iterable[str], words: str = "", actor: Actor = BY_LINK
) -> tuple[SkinReport, Advice]:
    """The skin is reacting. Returns the report and what to do now, emergencies first. Raises TapingRefused.

    Always opens a call item: nothing a patient reports is settled by a machine. While the clinic is closed the duty
    address is told, too.
    """
    listed = list(signs)
    advice = advice_for(application=application, signs=listed, now=now)
    report = report_save(
        actor=actor, now=now, application=application, signs=listed, words=words, reported_by=_who(application)
    )
    call = Call(
        patient=application.patient,
        reason=CallItem.Reason.SKIN_REPORT,
        since=now,
        application=application,
        report=report,
        words=report.words,
        urgent=advice.urgency in _URGENT,
    )
    call_open(actor=actor, now=now, call=call)
    duty_tell(actor=actor, now=now, report=report, patient=application.patient)
    return report, advice


def answer_call_back(*, now: datetime, application: Application, words: str = "", actor: Actor = BY_LINK) -> CallItem:
    """Please call me."""
    call = Call(
        patient=application.patient,
        reason=CallItem.Reason.CALL_BACK,
        since=now,
        application=application,
        words=words.strip(),
    )
    return call_open(actor=actor, now=now, call=call)


@transaction.atomic
def _end(actor: Actor, now: datetime, application: Application, how: str) -> Application:
    ended = application_end(actor=actor, now=now, application=application, how=how, ended_at=now, by=_who(application))
    calls_close_ended(now=now, application=ended, actor=actor)
    return ended


def _who(application: Application) -> str:
    return "helper" if isinstance(recipient_of(application.patient), Helper) else "patient"
