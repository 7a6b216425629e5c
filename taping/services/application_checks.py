"""What speaks against putting a tape on record, or against correcting its record; each check raises TapingRefused."""

from collections.abc import Mapping
from datetime import datetime
from zoneinfo import ZoneInfo

from clinic.models import Helper, User
from clinic.services.events import Actor
from taping.models import Application, SkinReport, SkinScreen
from taping.rules.late_entry import LATE_AFTER, MOST_DAYS_BACK, is_late, too_far_back
from taping.rules.removal import Remover, removal_answers_from, remover_allowed
from taping.rules.skin import Answer, Outcome
from taping.rules.skin_application import ScreenFacts, TapingFacts, application_allowed
from taping.selectors import outdated
from taping.services.refusals import TapingRefused


def refuse_time_to_come(applied_at: datetime, now: datetime) -> None:
    """Both aware."""
    if applied_at > now:
        raise TapingRefused("That time is still to come. Give the time at which the tape went on.", "applied_at")


def refuse_late(applied_at: datetime, now: datetime, late_reason: str, zone: ZoneInfo) -> None:
    """Both aware; zone: the clinic's."""
    if too_far_back(applied_at, now, zone):
        raise TapingRefused(
            f"That is more than {MOST_DAYS_BACK} days ago, too long to be entered as a taping. "
            "Look at the skin and the tape, and write what was done into the patient's note.",
            "applied_at",
        )
    if is_late(applied_at, now) and not late_reason.strip():
        minutes = int(LATE_AFTER.total_seconds() // 60)
        raise TapingRefused(
            f"The tape went on more than {minutes} minutes ago. Say why it is recorded now.", "late_reason"
        )


def refuse_screen(screen: SkinScreen, applied_at: datetime, zone: ZoneInfo, side: str = "") -> None:
    """applied_at: aware; zone: the clinic's; side: that of the tape, "" for the screen's own."""
    facts = ScreenFacts(screen.patient_id, screen.region, screen.side, Outcome(screen.outcome), screen.made_at)
    taping = TapingFacts(screen.patient_id, screen.region, side or screen.side, applied_at)
    permission = application_allowed(facts, taping, zone)
    if permission.allowed:
        return
    if taping.side != screen.side:
        advice = (
            "Tape goes only where the skin was looked at. Where that side was screened today, record the tape from "
            "that screen, on the patient's page; otherwise screen it now. This plan is kept."
        )
        raise TapingRefused(" ".join([*permission.reasons, advice]), "side")
    raise TapingRefused(" ".join(permission.reasons), "applied_at")


def refuse_outdated(screen: SkinScreen, until: datetime, zone: ZoneInfo) -> None:
    """A screen that later ones of its day, up to until (aware), leave out of date. zone: the clinic's."""
    found = outdated(screen, zone=zone, until=until)
    if found is None:
        return
    at, who = found.by.made_at.astimezone(zone), found.by.asked_by.full_name
    if found.changed:
        questions = " ".join(question.text for question in found.changed)
        raise TapingRefused(
            f"The person answered otherwise at {at:%H:%M} ({who}): {questions} "
            "This screen is out of date. Record it anew, then go on with its plan."
        )
    raise TapingRefused(f"{who} screened this place again at {at:%H:%M}. Go on from that screen; its plan stays.")


def refuse_place(screen: SkinScreen) -> None:
    """Tape that is on the place of the screen, or a skin report of it that nobody closed."""
    place = {"region": screen.region, "side": screen.side}
    if Application.objects.filter(patient=screen.patient_id, **place, ended_at=None).exists():
        raise TapingRefused("There is tape on this place already. Record its end first, then tape again.")
    of_place = {f"application__{name}": value for name, value in place.items()}
    if SkinReport.objects.filter(patient=screen.patient_id, **of_place, closed_at=None).exists():
        raise TapingRefused(
            "A skin report of this place is still open. A therapist looks at the skin and closes the report first."
        )


def refuse_helper(screen: SkinScreen, helper: Helper | None) -> None:
    if helper is not None and helper.patient_id != screen.patient_id:
        raise TapingRefused("That helper belongs to another patient. Choose one of this patient's.", "helper")


def refuse_home(screen: SkinScreen, answers: Mapping[str, Answer | None] | None) -> None:
    """Taking it off at home, against the screen or answers (to the removal questions).

    answers None: the questions were not asked, and only what the screen found can speak against it.
    """
    said = removal_answers_from(screen.answers)
    if answers is not None:
        against = remover_allowed({**said, **given(answers)})
        if Remover.HOME not in against.allowed:
            raise TapingRefused(
                f"{' '.join(against.reasons[:-1])} Choose a helper or the clinic to take the tape off.", "removal"
            )
    elif Answer.YES in said.values():
        raise TapingRefused(
            "The skin screen speaks against taking it off at home. Choose a helper or the clinic.", "removal"
        )


def refuse_home_later(application: Application) -> None:
    """The same for a tape on record, whose questions were answered at handing over."""
    screen = application.plan.screen
    stored = {key: Answer(word) for key, word in application.removal_answers.items() if word is not None}
    # What the screen does not say was answered at handing over: then every question has to be a no.
    said = removal_answers_from(screen.answers)
    asked = any(said.get(key) != answer for key, answer in stored.items())
    refuse_home(screen, stored if asked else None)


def refuse_student(actor: Actor, supervisor: User | None) -> None:
    if actor.user is None or not actor.user.is_student:
        return
    if supervisor is None or not supervisor.is_therapist:
        raise TapingRefused("A student's taping needs a supervisor. Name the therapist who supervises.", "supervisor")


def given(answers: Mapping[str, Answer | None]) -> dict[str, Answer]:
    """The answers without the questions left open."""
    return {key: answer for key, answer in answers.items() if answer is not None}
