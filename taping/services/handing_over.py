"""Handing the patient over: who takes the tape off is settled, and that the patient said it back is on record."""

from collections.abc import Mapping
from datetime import datetime

from django.db import transaction

from clinic.models import Helper
from clinic.services.events import Actor, event_record
from clinic.services.versions import plan_raise
from taping.models import Application
from taping.rules.removal import removal_answers_from
from taping.rules.skin import Answer
from taping.services.application_checks import given, refuse_helper, refuse_home
from taping.services.refusals import TapingRefused

REMOVER = ("removal", "helper", "removal_answers", "remover_open")
HANDED_OVER = ("handed_over_at", "handed_over_by", "said_back", "not_said_why")
MOST_WHY = 300


def screen_says(application: Application) -> dict[str, Answer]:
    """The removal questions that the skin screen of this tape answers as well."""
    return given(removal_answers_from(application.plan.screen.answers))


def said_before(application: Application) -> dict[str, Answer]:
    """The removal questions answered when the tape was recorded, or at handing over so far."""
    return {key: Answer(word) for key, word in application.removal_answers.items() if word is not None}


@transaction.atomic
def remover_settle(
    *,
    actor: Actor,
    now: datetime,
    application: Application,
    removal: str,
    answers: Mapping[str, Answer | None],
    helper: Helper | None = None,
) -> Application:
    """Settle who takes the tape off; answers are those given now. Messages that waited for it go. now: aware.

    Saying the same again changes nothing. Raises TapingRefused where the answers speak against it.
    """
    rows = Application.objects.select_for_update(of=("self",)).select_related("plan__screen", "patient")
    current = rows.get(pk=application.pk)
    if current.ended_at is not None:
        raise TapingRefused("This tape is off already.")
    remover = Application.Removal(removal)
    if remover is Application.Removal.HELPER and helper is None:
        raise TapingRefused("Choose the helper, or add one on the patient's page first.", "helper")
    refuse_helper(current.plan.screen, helper)
    said = screen_says(current) | said_before(current) | given(answers)
    if remover is Application.Removal.HOME:
        refuse_home(current.plan.screen, said)
    wanted = {
        "removal": remover.value,
        "helper": helper if remover is Application.Removal.HELPER else None,
        "removal_answers": {key: answer.value for key, answer in said.items()},
        "remover_open": False,
    }
    changed = [name for name, value in wanted.items() if getattr(current, name) != value]
    for name in changed:
        setattr(current, name, wanted[name])
    if changed:
        current.save(update_fields=REMOVER)
        event_record(
            actor=actor,
            verb="application.remover_settled",
            subject=current,
            patient=current.patient,
            now=now,
            fields=changed,
        )
        plan_raise(current)
    return current


@transaction.atomic
def hand_over(
    *, actor: Actor, now: datetime, application: Application, said_back: bool, not_said_why: str = ""
) -> Application:
    """Record that the patient was told, and said it back, or why not. The first time stands. now: aware.

    Raises TapingRefused while it is open who takes the tape off.
    """
    current = Application.objects.select_for_update(of=("self",)).select_related("patient").get(pk=application.pk)
    if current.handed_over_at is not None:
        return current
    if current.remover_open:
        raise TapingRefused("Settle first who takes the tape off.", "removal")
    why = not_said_why.strip()[:MOST_WHY]
    if not said_back and not why:
        raise TapingRefused("Tick that the patient said it back, or write why not.", "said_back")
    current.handed_over_at, current.handed_over_by = now, actor.user
    current.said_back, current.not_said_why = said_back, "" if said_back else why
    current.save(update_fields=HANDED_OVER)
    event_record(actor=actor, verb="application.handed_over", subject=current, patient=current.patient, now=now)
    return current
