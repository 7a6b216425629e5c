"""Lets the story happen: each row through the service that would do it in earnest, at its own moment."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import partial

from clinic.models import Clinic, Patient, User, Visit
from clinic.rules.ages import is_minor
from clinic.services.events import Actor
from clinic.services.visits import visit_book
from reminders.demo.reading import Row, moment_of
from reminders.rehearsal.clockwork import Happening
from reminders.services.answers import answer_call_back, answer_came_off, answer_off, answer_skin
from taping.models import Application, SkinScreen, TapeRoll
from taping.rules.cut import cut_for_stretch
from taping.rules.skin import QUESTIONS, Answer
from taping.rules.technique import technique_for
from taping.services.applications import Shortening, TapingDetails, application_start
from taping.services.plans import plan_start, strip_put
from taping.services.removal_visits import removal_visit_book
from taping.services.screens import ScreenDetails, screen_record
from taping.services.strips import StripValues

BOOKED_AHEAD = timedelta(days=2)
SCREENED_BEFORE = timedelta(minutes=4)


@dataclass(slots=True)
class Cast:
    """Who the story's names stand for, and the tapes as they come into being."""

    clinic: Clinic
    staff: dict[str, User]
    patients: dict[str, Patient]
    now: datetime
    tapes: dict[str, int] = field(default_factory=dict)

    def tape(self, ref: str) -> Application:
        return Application.objects.select_related("patient").get(pk=self.tapes[ref])

    def actor(self, row: Row) -> Actor:
        return Actor(user=self.staff[row.get("by") or row["therapist"]])


def happenings(cast: Cast, story: dict[str, list[Row]]) -> Iterator[Happening]:
    """Every row of the story as something that comes into being at its moment."""
    acts: dict[str, Callable[[Cast, Row, datetime], None]] = {
        "tape": _tape,
        "hold": _hold,
        "ending": _ending,
        "report": _report,
        "call_back": _call_back,
    }
    for name, act in acts.items():
        for row in story.get(name, []):
            yield Happening(moment_of(row, now=cast.now, zone=cast.clinic.zone), partial(act, cast, row))
    for row in story.get("visit", []):
        yield Happening(
            cast.now - (BOOKED_AHEAD if "patient" in row else timedelta(hours=3)), partial(_visit, cast, row)
        )


def _screen(cast: Cast, row: Row, now: datetime) -> SkinScreen:
    answers: dict[str, Answer | None] = {question.key: Answer.NO for question in QUESTIONS}
    found = [*row.get("cautions", []), *row.get("stops", [])]
    answers.update(dict.fromkeys(found, Answer.YES))
    details = ScreenDetails(
        region=row["region"],
        side=row["side"],
        answers=answers,
        goal=row.get("goal", ""),
        note=row.get("note", ""),
        made_at=now - SCREENED_BEFORE,
        supervisor=cast.staff.get(row.get("supervisor", "")),
    )
    return screen_record(actor=cast.actor(row), now=now, patient=cast.patients[row["patient"]], details=details)


def _hold(cast: Cast, row: Row, now: datetime) -> None:
    _screen(cast, row, now)


def _tape(cast: Cast, row: Row, now: datetime) -> None:
    actor = cast.actor(row)
    plan = plan_start(actor=actor, now=now, screen=_screen(cast, row, now), goal=row["goal"])
    strip_put(actor=actor, now=now, plan=plan, strip=_strip(cast, row))
    details = TapingDetails(
        applied_at=now,
        removal=row.get("removal", Application.Removal.HOME),
        helper=cast.patients[row["patient"]].helpers.first() if row.get("removal") == "helper" else None,
        supervisor=cast.staff.get(row.get("supervisor", "")),
        shortening=Shortening(row["last_day"], row["note"]) if "last_day" in row else None,
    )
    cast.tapes[row["ref"]] = application_start(actor=actor, now=now, plan=plan, details=details).pk


def _strip(cast: Cast, row: Row) -> StripValues:
    technique = technique_for(row["goal"])
    roll = TapeRoll.objects.get()
    careful = bool(row.get("cautions")) or _is_child(cast, row)
    share = min(technique.low, roll.tape.paper_off_share) if careful else technique.low
    cut = cut_for_stretch(float(row["span_mm"]), share, roll.tape)
    return StripValues(technique.shapes[0].kind, technique.start, technique.direction, cut, roll=roll)


def _is_child(cast: Cast, row: Row) -> bool:
    born = cast.patients[row["patient"]].born
    return born is not None and is_minor(born, cast.now.astimezone(cast.clinic.zone).date())


def _ending(cast: Cast, row: Row, now: datetime) -> None:
    answer = {"off": answer_off, "came_off": answer_came_off}[row["how"]]
    answer(now=now, application=cast.tape(row["tape"]))


def _report(cast: Cast, row: Row, now: datetime) -> None:
    answer_skin(now=now, application=cast.tape(row["tape"]), signs=row["signs"], words=row["words"])


def _call_back(cast: Cast, row: Row, now: datetime) -> None:
    answer_call_back(now=now, application=cast.tape(row["tape"]), words=row["words"])


def _visit(cast: Cast, row: Row, now: datetime) -> None:
    starts_at = moment_of(row, now=cast.now, zone=cast.clinic.zone)
    visit = Visit(ends_at=starts_at + timedelta(minutes=row["minutes"]), purpose=row["purpose"])
    actor, therapist = cast.actor(row), cast.staff[row["therapist"]]
    if "patient" in row:
        visit_book(
            actor=actor,
            now=now,
            patient=cast.patients[row["patient"]],
            therapist=therapist,
            starts_at=starts_at,
            visit=visit,
        )
        return
    removal_visit_book(
        actor=actor, now=now, application=cast.tape(row["tape"]), therapist=therapist, starts_at=starts_at, visit=visit
    )
