"""Reads of the clinic's own words: who changed them since, how many there are, and what a chosen patient has."""

from collections import Counter

from django.db.models import Max

from clinic.models import Clinic, Event, Patient, Visit
from taping.models import Application, SkinReport

VERB = "texts.changed"


def text_version() -> int:
    """What a form is based on: the number of the newest change of any text; 0 before the first."""
    return Event.objects.filter(verb=VERB).aggregate(newest=Max("pk"))["newest"] or 0


def text_changes_since(language: str, kind: str, version: int) -> list[Event]:
    """The changes of a kind's sentences in a language after version, newest first, with who made them."""
    begins = f"{language}:{kind}."
    events = Event.objects.filter(verb=VERB, pk__gt=version).select_related("actor").order_by("-pk")
    return [event for event in events if any(str(field).startswith(begins) for field in event.fields)]


def own_counts(clinic: Clinic) -> Counter[tuple[str, str]]:
    """How many forms of sentences the clinic says in its own words, by language and kind."""
    return Counter((language, key.split(".")[0]) for language, own in clinic.texts.items() for key in own)


def latest_tape(patient: Patient) -> Application | None:
    """The tape a preview is about: one on the skin before one that is off, then the newest."""
    tapes = Application.objects.filter(patient=patient).select_related("helper", "removal_visit", "patient")
    return tapes.filter(ended_at=None).order_by("-applied_at").first() or tapes.order_by("-applied_at").first()


def latest_visit(patient: Patient) -> Visit | None:
    """The visit a preview is about: the newest one that is booked, else the newest."""
    visits = Visit.objects.filter(patient=patient).select_related("patient")
    booked = visits.filter(state=Visit.State.BOOKED).order_by("-starts_at").first()
    return booked or visits.order_by("-starts_at").first()


def signs_reported(tape: Application) -> list[str]:
    """The signs of the tape's open skin reports: what its messages say depends on them."""
    reports = SkinReport.objects.filter(application=tape, closed_at=None)
    return [sign for signs in reports.values_list("signs", flat=True) for sign in signs]
