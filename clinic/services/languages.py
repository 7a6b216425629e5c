"""Which languages patients are written to in: each is off until a named fluent clinician has read every text."""

from datetime import date, datetime

from django.db import transaction

from clinic.models import Clinic
from clinic.models.people import Language
from clinic.rules.tongue import tongue_of
from clinic.services.clinic import clinic_locked
from clinic.services.events import Actor, event_record


class LanguageRefused(ValueError):
    """What was asked for a language cannot be; the text says why and what would work."""


@transaction.atomic
def language_approve(*, actor: Actor, now: datetime, language: str, name: str, on: date) -> Clinic:
    """Switch a language on: the clinician of that name, fluent in it, has read every text, on that day.

    Messages not yet sent speak it when they go. Raises LanguageRefused for a language there is none of, or no name.
    """
    if language not in Language.values:
        raise LanguageRefused("That language is not one of those here. Choose one from the list.")
    if not name.strip():
        raise LanguageRefused("Write the name of the clinician who read every text.")
    clinic = clinic_locked()
    approval = {"name": name.strip(), "on": on.isoformat(), "edition": tongue_of(language).edition}
    clinic.languages = {**clinic.languages, language: approval}
    # Every text was read, the clinic's own words among them: who read those before stands for them no longer.
    clinic.text_readers = {key: readers for key, readers in clinic.text_readers.items() if key != language}
    clinic.save()
    event_record(actor=actor, verb="language.approved", subject=clinic, now=now, fields=[language])
    return clinic


@transaction.atomic
def language_withdraw(*, actor: Actor, now: datetime, language: str) -> Clinic:
    """Switch a language off again: from now on its patients are written to in the clinic's. Raises LanguageRefused."""
    clinic = clinic_locked()
    if language == clinic.language:
        raise LanguageRefused("This is the clinic's own language. Choose another one first, then switch this one off.")
    if language in clinic.languages:
        clinic.languages = {key: value for key, value in clinic.languages.items() if key != language}
        clinic.save()
        event_record(actor=actor, verb="language.withdrawn", subject=clinic, now=now, fields=[language])
    return clinic


@transaction.atomic
def language_choose(*, actor: Actor, now: datetime, language: str) -> Clinic:
    """Make a language the clinic's own, which everybody whose language is off is written to in.

    Raises LanguageRefused where nobody has approved it: nothing may go in a language that nobody has read.
    """
    clinic = clinic_locked()
    if language != clinic.language and language not in clinic.languages:
        raise LanguageRefused("Nobody has approved this language yet. Have it read and approved first.")
    if language != clinic.language:
        clinic.language = language
        clinic.save()
        event_record(actor=actor, verb="language.chosen", subject=clinic, now=now, fields=["language"])
    return clinic
