"""Sentences for patients in templates: those of messages by their key, those of pages by their English words."""

from collections.abc import Iterable, Mapping
from typing import Any

from django import template
from django.template.context import Context
from django.utils.html import conditional_escape, escape
from django.utils.safestring import SafeString, mark_safe

from clinic.rules.tongue import ENGLISH, Tongue
from reminders.rules.texts import Speech

register = template.Library()


@register.simple_tag(takes_context=True)
def say(context: Context, key: str) -> str:
    """The sentence of a message, filled from the context, for as many tapes or visits as it is about."""
    return _said(context, key, context.flatten())


@register.simple_tag(takes_context=True)
def say_of(context: Context, one: Mapping[str, Any], key: str) -> str:
    """The same, about one of several: what it brings stands before the context's own."""
    return _said(context, key, {**context.flatten(), **one})


def _said(context: Context, key: str, values: Mapping[Any, Any]) -> str:
    speech: Speech = context["speech"]
    return speech.say(key, context["number"], values)


@register.simple_tag(takes_context=True)
def tr(context: Context, text: str, **values: object) -> SafeString:
    """A sentence of a page in the context's language. Values are escaped."""
    tongue = context.get("tongue", ENGLISH)
    assert isinstance(tongue, Tongue)  # noqa: S101  # the views of patients' pages put it there
    escaped = {name: conditional_escape(str(value)) for name, value in values.items()}
    # The sentence itself is the program's, or its catalogue's.
    return mark_safe(tongue.say(text, **escaped))


@register.filter
def to_dial(pieces: Iterable[tuple[str, str]]) -> SafeString:
    """Pieces of a text, each with what to dial: numbers read from the left in every script. Words are escaped."""
    parts = (f'<bdi dir="ltr">{escape(words)}</bdi>' if dial else escape(words) for words, dial in pieces)
    return mark_safe("".join(parts))
