"""The states of tape, messages and calls in templates."""

from django import template

from reminders.models import CallItem, Message
from reminders.selectors_tapes import TapeRow
from reminders.views import signs
from taping.models import Application
from taping.rules.wear_state import TapeState

register = template.Library()


@register.filter
def tape_sign(row: TapeRow) -> signs.Sign:
    """The sign of a tape; an open skin report stands over everything but its end."""
    if row.reaction and row.state is not TapeState.OFF:
        return signs.REACTION
    return signs.TAPE[row.state]


@register.filter
def message_sign(message: Message) -> signs.Sign:
    return signs.MESSAGE[message.state]


@register.filter
def call_sign(item: CallItem) -> signs.Sign:
    return signs.CALL[item.reason]


@register.filter
def kind_words(message: Message) -> str:
    return signs.KIND.get(message.kind, message.kind.replace("_", " "))


@register.filter
def place(tape: Application) -> str:
    """ "left knee" """
    return signs.place_words(tape.region, tape.side)


@register.filter
def ending_words(tape: Application) -> str:
    return signs.ENDING.get(tape.ended_how, "")
