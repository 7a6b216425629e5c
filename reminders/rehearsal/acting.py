"""What happens in a scenario, done through the services that would do it in earnest."""

from datetime import datetime
from functools import singledispatch

from clinic.models import Visit
from clinic.services.visits import visit_move, visit_set_state
from reminders.rehearsal.company import Company, application_of, visit_of, visit_put_down
from reminders.rehearsal.scenario import (
    AskedToCall,
    Booked,
    Cancelled,
    Edited,
    Ended,
    EventPart,
    Fault,
    Moved,
    Outage,
    Reported,
    Texted,
)
from reminders.rehearsal.ways import Ways
from reminders.services.answers import answer_call_back, answer_came_off, answer_off, answer_skin
from reminders.services.replies import reply_receive
from taping.services.applications import application_change
from taping.services.refusals import TapingRefused

WHY_EDITED = "corrected in the rehearsal"


@singledispatch
def act(event: EventPart, company: Company, ways: Ways, now: datetime) -> None:
    """Let event happen at now (aware). Raises TapingRefused and VisitRefused as the services do."""
    raise TypeError(f"{type(event).__name__} cannot happen")


@act.register
def _(event: Ended, company: Company, ways: Ways, now: datetime) -> None:
    answer = answer_off if event.how == "off" else answer_came_off
    answer(now=now, application=application_of(company, event.application))


@act.register
def _(event: Reported, company: Company, ways: Ways, now: datetime) -> None:
    answer_skin(now=now, application=application_of(company, event.application), signs=event.signs)


@act.register
def _(event: AskedToCall, company: Company, ways: Ways, now: datetime) -> None:
    answer_call_back(now=now, application=application_of(company, event.application))


@act.register
def _(event: Texted, company: Company, ways: Ways, now: datetime) -> None:
    number = company.patients[event.patient].phone
    if not number:
        raise TapingRefused(f"The patient {event.patient!a} has no telephone to write from.")
    reply_receive(now=now, number=number, text=event.text)


@act.register
def _(event: Booked, company: Company, ways: Ways, now: datetime) -> None:
    visit_put_down(company, event.visit, now)


@act.register
def _(event: Moved, company: Company, ways: Ways, now: datetime) -> None:
    visit_move(actor=company.actor, now=now, visit=visit_of(company, event.visit), starts_at=event.starts_at)


@act.register
def _(event: Cancelled, company: Company, ways: Ways, now: datetime) -> None:
    visit = visit_of(company, event.visit)
    visit_set_state(actor=company.actor, now=now, visit=visit, state=Visit.State.CANCELLED)


@act.register
def _(event: Outage, company: Company, ways: Ways, now: datetime) -> None:
    """Nothing happens: the clockwork knows when it has to stand still."""


@act.register
def _(event: Fault, company: Company, ways: Ways, now: datetime) -> None:
    ways.order(channel=event.channel, reply=event.reply, times=event.times)


@act.register
def _(event: Edited, company: Company, ways: Ways, now: datetime) -> None:
    application = application_of(company, event.application)
    values = dict(event.values)
    place = {name: values.pop(name) for name in ("region", "side") if name in values}
    if any(getattr(application, name) != value for name, value in place.items()):
        raise TapingRefused("The place of a tape cannot be changed; end it and record it anew.")
    application_change(actor=company.actor, now=now, application=application, values=values, why=WHY_EDITED)
