"""Times and numbers in the words of the pages. Loaded everywhere."""

from datetime import date, datetime, timedelta
from typing import Any
from uuid import uuid4

from django import template
from django.forms import BoundField, CheckboxInput, Select
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString

from clinic.models import Clinic, Helper, Patient
from clinic.models.people import Language
from clinic.rules.ages import age_on
from clinic.services.phone_numbers import phone_shown

register = template.Library()


@register.filter
def moment(value: datetime | None) -> str:
    """ "today 10:47", "tomorrow 09:00", else "Sat 16 Jan 10:47", with the year when it is another; local time."""
    if value is None:
        return ""
    local, now = timezone.localtime(value), timezone.localtime()
    return f"{_day_word(local.date(), now.date())} {local:%H:%M}"


@register.filter
def day(value: date | None) -> str:
    """ "today", "tomorrow", "yesterday", else "Sat 16 Jan", with the year when it is another; local time."""
    if value is None:
        return ""
    if isinstance(value, datetime):
        value = timezone.localtime(value).date()
    return _day_word(value, timezone.localdate())


def _day_word(value: date, today: date) -> str:
    near = {-1: "yesterday", 0: "today", 1: "tomorrow"}.get((value - today).days)
    if near:
        return near
    year = f" {value.year}" if value.year != today.year else ""
    return f"{value:%a} {value.day} {value:%b}{year}"


@register.filter
def clock(value: datetime | None) -> str:
    """ "10:47", local time."""
    return f"{timezone.localtime(value):%H:%M}" if value else ""


@register.filter
def date_words(value: date | None) -> str:
    """ "3 April 1985": the month in words, so that nobody takes it for the day."""
    return f"{value.day} {value:%B} {value.year}" if value else ""


@register.filter
def spoken_instead(person: Patient | Helper, clinic: Clinic | None) -> str:
    """The language somebody is written to in instead of their own, which nobody has approved yet; else ""."""
    if clinic is None or clinic.speaks(person.language) == person.language:
        return ""
    return str(Language(clinic.language).label)


@register.filter
def birth(born: date | None, today: date) -> str:
    """ "3 April 1985, 41 years old", the age on today."""
    if born is None:
        return ""
    return f"{date_words(born)}, {age_on(born, today)} years old" if born <= today else date_words(born)


@register.filter
def telephone(number: str) -> str:
    """A stored number in its country's spacing, as in "+1 212-555-0123"."""
    return phone_shown(number) if number else ""


@register.filter
def minutes(length: timedelta | None) -> int:
    """Whole minutes of a length of time, rounded up: nobody is told to come back too early."""
    return -(-int(length.total_seconds()) // 60) if length else 0


@register.filter
def percent(value: float | None) -> str:
    return "" if value is None else f"{round(value * 100)} %"


@register.filter
def index(mapping: Any, key: Any) -> Any:
    """mapping[key], or nothing where it is absent."""
    return mapping.get(key, "") if mapping else ""


@register.filter
def first_control(field: BoundField) -> str:
    """The id a summary of errors links to: of a group of radios, the first one."""
    return field.id_for_label or f"{field.auto_id}_0"


@register.filter
def is_tick(field: BoundField) -> bool:
    """Whether the field is a single box to tick, whose label stands behind it."""
    return isinstance(field.field.widget, CheckboxInput)


@register.filter
def control_class(field: BoundField) -> str:
    """The style class of the field's control."""
    if is_tick(field):
        return "form-check-input"
    return "form-select" if isinstance(field.field.widget, Select) else "form-control"


@register.simple_tag
def once_field() -> SafeString:
    """A hidden one-time key: posting the same form twice makes one record."""
    return format_html('<input type="hidden" name="once" value="{}">', uuid4())
