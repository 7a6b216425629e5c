"""The states of tape, messages and calls in templates."""

from django import template
from django.utils import timezone

from clinic.models import Clinic, User
from reminders.forms.calls import KIND_CHOICES
from reminders.models import CallItem, Message
from reminders.rules.call_endings import Ending, endings_of, script_of
from reminders.rules.call_list import CallReason
from reminders.rules.outbox import NEEDS_PERSON
from reminders.rules.words import day_words, place_words
from reminders.selectors.record import NOT_ASKED
from reminders.selectors.tapes import TapeRow
from reminders.views import signs
from taping.models import Application, SkinReport
from taping.rules.lengths import Unit, format_length
from taping.rules.wear_state import TapeState
from taping.services.reports import TOLD_WHOM

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
def kind_name(kind: str) -> str:
    return signs.KIND.get(kind, kind.replace("_", " "))


@register.filter
def receipt_words(message: Message) -> str:
    """What the other side told after it was handed over; empty where it told nothing."""
    return signs.RECEIPT.get(message.receipt, "")


@register.filter
def place(tape: Application) -> str:
    """ "left knee" """
    return place_words(tape.region, tape.side)


@register.filter
def place_of_call(item: CallItem) -> str:
    """ "Ada Quill, left knee", for the line that announces it."""
    where = f", {place(item.application)}" if item.application else ""
    return f"{item.patient.full_name}{where}"


@register.filter
def ending_words(tape: Application) -> str:
    return signs.ENDING.get(tape.ended_how, "")


@register.filter
def endings(item: CallItem, user: User) -> tuple[Ending, ...]:
    """The ways this user may end the call, the usual one first."""
    return endings_of(CallReason(item.reason), therapist=user.is_therapist)


@register.filter
def read_first(item: CallItem, user: User) -> bool:
    """Whether this user's next step is to read the skin report: only a therapist's finding closes it."""
    return item.reason == CallReason.SKIN_REPORT and item.report_id is not None and user.is_therapist


@register.filter
def script(item: CallItem, clinic: Clinic) -> str:
    """What to say on the telephone, with this clinic's emergency number and this tape's day."""
    tape = item.application
    return script_of(
        CallReason(item.reason),
        emergency=clinic.emergency_number,
        day=day_words(tape.removal_day) if tape else "",
        remover=tape.removal if tape else "",
    )


@register.filter
def may_go_again(message: Message) -> bool:
    """Whether a person may send it again: it needs one, and is still of use."""
    return message.state in NEEDS_PERSON and message.expires_at > timezone.now()


@register.filter
def length_words(length_mm: float, units: str) -> str:
    """A length as the clinic writes it: centimetres, or inches in sixteenths."""
    return format_length(length_mm, Unit.INCH if units == Clinic.Units.INCHES else Unit.CM)


@register.filter
def reason_words(reason: dict[str, str]) -> str:
    """A stored reason of a skin screen: what was found and what to do."""
    return " ".join(part for part in (reason.get("text"), reason.get("advice")) if part)


@register.filter
def finding_words(report: SkinReport) -> str:
    """What the therapist found, in the words of the vocabulary."""
    key = f"{report.kind}:{report.grade}" if report.grade else report.kind
    return dict(KIND_CHOICES).get(key, report.kind)


@register.filter
def told_words(report: SkinReport) -> str:
    """Who was told about a finding: "the doctor, a parent or guardian"; "" where nothing was said."""
    return ", ".join(TOLD_WHOM.get(key, key) for key in report.told_whom)


@register.filter
def pain_said(tape: Application) -> str:
    """ "before 6, right after 4, at the next visit not asked", from a row of the patient page; "" where nothing."""
    names = {"before": "before", "after": "right after", "next": "at the next visit or the end"}
    said = [(words, getattr(tape, f"pain_{moment}", None)) for moment, words in names.items()]
    return ", ".join(
        f"{words} {'not asked' if score == NOT_ASKED else score}" for words, score in said if score is not None
    )
