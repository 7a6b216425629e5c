"""How a tape came off, and how the skin was half an hour later, as people saw it. Nothing here judges the skin."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction

from clinic.selectors import clinic_get
from clinic.services.events import Actor, event_record
from taping.models import Application
from taping.rules.report import INJURY_MINUTES
from taping.services.refusals import TapingRefused

LOOK_AFTER = timedelta(minutes=INJURY_MINUTES)
"""Elapsed time after the tape came off at which the skin is looked at again."""

DESCRIBED = (
    "ended_roughly",
    "ending_went",
    "ending_hair",
    "ending_residue",
    "skin_after",
    "skin_after_at",
    "skin_after_by",
)
"""The fields that describe an ending, and go with it where it is taken back."""


@dataclass(frozen=True, slots=True)
class EndingDetails:
    """What was said about an ending. Empty: not said. skin_after is one of Application.SkinAfter or empty."""

    roughly: bool = False
    went: str = ""
    hair: str = ""
    residue: str = ""
    skin_after: str = ""


def look_at(application: Application) -> datetime | None:
    """When the skin is to be looked at (aware), or None while the tape is on or where somebody has answered."""
    if application.ended_at is None or application.skin_after:
        return None
    return application.ended_at + LOOK_AFTER


@transaction.atomic
def ending_describe(*, actor: Actor, now: datetime, application: Application, details: EndingDetails) -> Application:
    """Add to a recorded ending how it went. now: aware. Raises TapingRefused."""
    current = Application.objects.select_for_update(of=("self",)).select_related("patient").get(pk=application.pk)
    if current.ended_at is None:
        raise TapingRefused("This tape is still on. Record first that it is off.")
    pulled = current.ended_how != Application.Ending.CAME_OFF
    current.ended_roughly = details.roughly
    current.ending_went = Application.Went(details.went).value if details.went and pulled else ""
    current.ending_hair = Application.Hair(details.hair).value if details.hair else ""
    current.ending_residue = Application.Residue(details.residue).value if details.residue else ""
    current.save(update_fields=["ended_roughly", "ending_went", "ending_hair", "ending_residue"])
    fields = ["ending_hair", "ending_residue", "ending_went"]
    event_record(
        actor=actor, verb="application.described", subject=current, patient=current.patient, now=now, fields=fields
    )
    if details.skin_after:
        current = skin_look(actor=actor, now=now, application=current, seen=details.skin_after)
    return current


@transaction.atomic
def skin_look(*, actor: Actor, now: datetime, application: Application, seen: str) -> Application:
    """Keep what was seen of the skin 30 minutes or more after the tape came off. now: aware. Raises TapingRefused.

    "Not looked at" is an answer, and gives way to a later look; what somebody saw stands.
    """
    if seen not in Application.SkinAfter.values:
        raise TapingRefused("Choose what was seen, or that nobody looked.", "skin_after")
    current = Application.objects.select_for_update(of=("self",)).select_related("patient").get(pk=application.pk)
    if current.ended_at is None:
        raise TapingRefused("This tape is still on. Record first that it is off.", "skin_after")
    if current.skin_after == seen:
        return current
    if current.skin_after and current.skin_after != Application.SkinAfter.NOT_LOOKED:
        raise TapingRefused(
            f"It is on record already: {current.get_skin_after_display()}. Write a skin report where the skin has "
            "changed since.",
            "skin_after",
        )
    at = current.ended_at + LOOK_AFTER
    if seen != Application.SkinAfter.NOT_LOOKED and now < at:
        local = at.astimezone(clinic_get().zone)
        raise TapingRefused(
            f"Less than {INJURY_MINUTES} minutes have passed. Look again at {local:%H:%M}, and record it then.",
            "skin_after",
        )
    current.skin_after, current.skin_after_at, current.skin_after_by = seen, now, actor.user
    current.save(update_fields=["skin_after", "skin_after_at", "skin_after_by"])
    event_record(
        actor=actor,
        verb="application.skin_looked",
        subject=current,
        patient=current.patient,
        now=now,
        fields=["skin_after"],
    )
    return current
