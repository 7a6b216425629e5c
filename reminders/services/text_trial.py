"""Messages tried on invented people before they go to anybody: each way it can come off, and the longest there is."""

from collections.abc import Iterator, Mapping, Sequence
from copy import copy
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from functools import cached_property
from typing import Any

from clinic.models import Clinic, Helper, Patient, Visit
from clinic.rules.tongue import Tongue, tongue_of
from clinic.selectors import recipient_of
from reminders.models import Message
from reminders.rules.instruction import TapeNow, first_key, instruction
from reminders.rules.kinds import MessageKind
from reminders.rules.sms import Segments, letters_outside, limit_of, segments, within_limit
from reminders.rules.texts import SHARED, SMS
from reminders.rules.words import day_words, place_words
from reminders.selectors.own_words import latest_tape, latest_visit, signs_reported
from reminders.services.rendering import mail_text, masked, sms_text
from reminders.services.tape_now import tape_now
from reminders.services.wording import Saying, words_for
from taping.models import Application
from taping.rules.places import REGIONS

ORDINARY = "one, at home"
MORNING = time(10)
_TAKEN_OFF = {"home": "at home", "visit": "at the clinic", "clinic": "no visit yet", "helper": "by a helper"}
DAYS_IN_A_YEAR = 366
FEW_LETTERS = 5
"""Letters outside the plain alphabet that are worth naming; a script has more of them."""

SHARED_SHOWN = (MessageKind.AFTERCARE, MessageKind.REMOVAL_DAY, MessageKind.VISIT_BOOKED)
SHARED_TEXTS = (
    MessageKind.AFTERCARE, MessageKind.VISIT_BOOKED, MessageKind.VISIT_CHANGED, MessageKind.VISIT_REMINDER,
)  # fmt: skip
"""Messages that show the shared sentences, and those whose text messages have any."""


@dataclass(frozen=True)  # no slots: what is made once is kept in the instance
class Trial:
    """One message to one person. situation: in words. full and short are the two forms of the text message.

    tape: what the page would speak of at that moment, None where it says first what a skin report asks for.
    """

    kind: MessageKind
    situation: str
    words: Mapping[str, Any] = field(repr=False)
    tape: TapeNow | None = field(default=None, repr=False)

    @cached_property
    def full(self) -> str:
        return sms_text(self.kind.value, dict(self.words), short=False)

    @cached_property
    def short(self) -> str:
        return sms_text(self.kind.value, dict(self.words), short=True)

    def fits(self, text: str) -> bool:
        return within_limit(text, safety=self.kind.is_safety)

    @cached_property
    def text(self) -> str:
        """What would go as a text message, its links in full; empty where even the short form is too long."""
        return next((text for text in (self.full, self.short) if self.fits(text)), "")

    @property
    def shown(self) -> str:
        """The same with [link] in place of each address."""
        return masked(self.text, dict(self.words))

    @property
    def is_short(self) -> bool:
        """Whether the whole is too long, so that the short form goes."""
        return not self.fits(self.full)

    @property
    def cost(self) -> Segments:
        """What the whole costs, links included; of the short form where nothing fits."""
        return segments(self.text or self.short)

    @property
    def outside(self) -> str:
        """The letters that make it UCS-2, where most of it would do without."""
        letters = letters_outside(self.text or self.short)
        return " ".join(letters) if 0 < len(letters) <= FEW_LETTERS else ""

    @property
    def mail(self) -> tuple[str, str]:
        """Subject and text of the mail, its links masked."""
        subject, text = mail_text(self.kind.value, dict(self.words))
        return subject, masked(text, dict(self.words))

    @property
    def page(self) -> str:
        """What stands first on the page then, where it is a sentence of this message; else empty."""
        if self.tape is None or not first_key(self.tape).startswith(f"{self.kind.value}."):
            return ""
        return instruction(self.tape).heading


def clinic_saying(clinic: Clinic, language: str, own: Mapping[str, str]) -> Clinic:
    """A copy of the clinic that says own in language, whether that is on or off. It is never to be saved."""
    shown = copy(clinic)
    shown.languages = {**clinic.languages, language: {}}
    shown.texts = {**clinic.texts, language: dict(own)}
    return shown


def trials(
    *, clinic: Clinic, now: datetime, language: str, kind: str, own: Mapping[str, str], shown: bool = False
) -> list[Trial]:
    """Every situation of a kind, said with the clinic's own words by key; the ordinary one first. now: aware.

    shown: of the shared sentences, messages to look at rather than every text message they stand in.
    """
    kinds = (SHARED_SHOWN if shown else SHARED_TEXTS) if kind == SHARED else (MessageKind(kind),)
    saying = clinic_saying(clinic, language, own)
    return [trial for one in kinds for trial in _of_kind(one, saying, now, tongue_of(language))]


def trial_of(
    *, clinic: Clinic, now: datetime, language: str, kind: MessageKind, own: Mapping[str, str], patient: Patient
) -> Trial | None:
    """The message as if it went now (aware) to this patient, or to the helper who gets their messages, in language.

    None where they have no tape, or no visit, that it could be about. Reads only; the patient must not be saved after.
    """
    recipient = recipient_of(patient)
    recipient.language = language
    row = Message(patient=patient, kind=kind.value, subject="")
    signs: list[str] = []
    tape = latest_tape(patient)
    if kind.value.startswith("visit_"):
        row.visit = latest_visit(patient)
    elif kind is not MessageKind.STOP_CONFIRMED:
        row.application = tape
        signs = signs_reported(tape) if tape else []
    if row.visit is None and row.application is None and kind is not MessageKind.STOP_CONFIRMED:
        return None
    saying = Saying(row, (), recipient, clinic_saying(clinic, language, own), now, signs)
    words = words_for(saying)
    if kind is MessageKind.STOP_CONFIRMED:
        worn = [tape] if tape and tape.ended_at is None else []
        words["still_on"] = [_still_on(one.region, one.side, one.removal_day, tongue_of(language)) for one in worn]
    return Trial(kind, "as if it went now", words, _first_tape(saying))


def _still_on(region: str, side: str, day: date, tongue: Tongue) -> dict[str, str]:
    return {"place": place_words(region, side, tongue), "off_day": day_words(day, tongue)}


def too_long(*, clinic: Clinic, now: datetime, language: str, kind: str, changes: Mapping[str, str]) -> dict[str, str]:
    """Which changes make a text message longer than it may be, with how much and where: by key. now: aware.

    The whole form has to fit where nothing is out of the ordinary, the short one always. What was too long before the
    change, because of the clinic's name for instance, is no fault of the change.
    """
    texts = [key for key in changes if key.split(".")[1] == SMS]
    if not texts:
        return {}
    stored = clinic.texts.get(language, {})
    new = {key: words for key, words in {**stored, **changes}.items() if words}
    tried = (trials(clinic=clinic, now=now, language=language, kind=kind, own=own) for own in (stored, new))
    for before, after in zip(*tried, strict=True):
        reason = _longer(before, after)
        if reason:
            return dict.fromkeys(_grown(texts, stored, changes), reason)
    return {}


def _longer(before: Trial, after: Trial) -> str:
    pairs = [(before.short, after.short, "in its short form")]
    if after.situation == ORDINARY:
        pairs.insert(0, (before.full, after.full, "whole"))
    for was, will, form in pairs:
        if after.fits(was) and not after.fits(will):
            cost = segments(will)
            allowed = limit_of(cost.encoding, safety=after.kind.is_safety)
            return (
                f"The text message, {form}, would take {cost.count} segments ({cost.units} units, {cost.encoding}) and "
                f"{allowed} are allowed: {after.situation}. Shorten it."
            )
    return ""


def _grown(texts: Sequence[str], stored: Mapping[str, str], changes: Mapping[str, str]) -> list[str]:
    """The changes to blame: those longer than the words before, or all where that cannot be said."""
    return [key for key in texts if len(changes[key]) > len(stored.get(key, ""))] or list(texts)


def _of_kind(kind: MessageKind, clinic: Clinic, now: datetime, tongue: Tongue) -> Iterator[Trial]:
    if kind is MessageKind.STOP_CONFIRMED:
        yield from _after_stop(clinic, now, tongue)
    elif kind.value.startswith("visit_"):
        yield from _with_visits(kind, clinic, now, tongue)
    else:
        yield from _with_tapes(kind, clinic, now, tongue)


def _with_tapes(kind: MessageKind, clinic: Clinic, now: datetime, tongue: Tongue) -> Iterator[Trial]:
    today = now.astimezone(clinic.zone).date()
    day = today + timedelta(days=clinic.wear_last_day - _days_worn(kind, clinic.wear_last_day))
    scene = _Scene(kind, clinic, tongue, day)
    knee, elbow = ("knee", "left"), ("elbow", "right")
    yield scene.tapes(ORDINARY, knee)
    yield scene.tapes("taken off at the clinic, visit booked", knee, by="visit")
    yield scene.tapes("taken off at the clinic, no visit yet", knee, by="clinic")
    yield scene.tapes("taken off by a helper, to the patient", knee, by="helper")
    yield scene.tapes("to the helper who takes it off", knee, by="helper", to_helper=True)
    yield scene.tapes("two tapes, at home", knee, elbow)
    yield scene.tapes("two tapes that come off differently", knee, elbow, by="visit")
    yield scene.tapes("sore skin was reported", knee, signs=("blister",))
    if kind is MessageKind.AFTERCARE:
        yield scene.tapes("when the adhesion wait is over", knee, later=_still_drying(clinic))
    yield scene.tapes("some hours later", knee, later=timedelta(hours=5))
    longest = _Scene(kind, clinic, tongue, _longest_day(today, tongue))
    one, other = _longest_places(tongue)
    for by, said in _TAKEN_OFF.items():
        yield longest.tapes(f"the longest place and date, {said}", one, by=by)
        yield longest.tapes(f"the longest place and date, {said}, to a helper", one, by=by, to_helper=True)
    yield longest.tapes("the two longest places and dates", one, other, by="visit")


def _still_drying(clinic: Clinic) -> timedelta:
    return timedelta(minutes=max(clinic.adhesion_minutes, clinic.water_minutes - 1))


def _with_visits(kind: MessageKind, clinic: Clinic, now: datetime, tongue: Tongue) -> Iterator[Trial]:
    today = now.astimezone(clinic.zone).date()
    scene = _Scene(kind, clinic, tongue, today + timedelta(days=2))
    yield scene.visits(ORDINARY, Visit.Purpose.FOLLOW_UP)
    yield scene.visits("a visit to take tape off", Visit.Purpose.REMOVAL)
    yield scene.visits("to a helper", Visit.Purpose.FOLLOW_UP, to_helper=True)
    yield scene.visits("two visits", Visit.Purpose.FOLLOW_UP, number=2)
    longest = _Scene(kind, clinic, tongue, _longest_day(today, tongue))
    yield longest.visits("the longest date, a visit to take tape off", Visit.Purpose.REMOVAL, to_helper=True)


def _after_stop(clinic: Clinic, now: datetime, tongue: Tongue) -> Iterator[Trial]:
    today = now.astimezone(clinic.zone).date()
    longest = _longest_places(tongue)[0]
    for situation, places, day in (
        (ORDINARY, [("knee", "left")], today + timedelta(days=4)),
        ("no tape on", [], today),
        ("the longest place and date", [longest], _longest_day(today, tongue)),
    ):
        trial = _Scene(MessageKind.STOP_CONFIRMED, clinic, tongue, day).nothing(situation)
        still_on = [_still_on(*one, day, tongue) for one in places]
        yield Trial(trial.kind, situation, {**trial.words, "still_on": still_on})


@dataclass(frozen=True, slots=True)
class _Scene:
    """Invented people on the day a kind is said, for tape that comes off, or a visit, on `day`."""

    kind: MessageKind
    clinic: Clinic
    tongue: Tongue
    day: date

    def tapes(
        self,
        situation: str,
        *places: tuple[str, str],
        by: str = "home",
        to_helper: bool = False,
        signs: Sequence[str] = (),
        later: timedelta = timedelta(),
    ) -> Trial:
        """by: home, clinic, helper or visit; of two tapes the second comes off at home."""
        patient, helper = self._people()
        applied = self.day - timedelta(days=self.clinic.wear_last_day)
        said_on = applied + timedelta(days=_days_worn(self.kind, self.clinic.wear_last_day))
        rows = [
            Message(patient=patient, kind=self.kind.value, subject="", application=self._tape(patient, place, way))
            for place, way in zip(places, (by, "home"), strict=False)
        ]
        for row in rows:
            if row.application is not None and row.application.removal == "helper":
                row.application.helper = helper
        return self._said(situation, rows, helper if to_helper else patient, self._at(said_on) + later, signs)

    def visits(self, situation: str, purpose: str, *, number: int = 1, to_helper: bool = False) -> Trial:
        patient, helper = self._people()
        rows = [
            Message(patient=patient, kind=self.kind.value, subject="", visit=self._visit(patient, purpose, extra))
            for extra in range(number)
        ]
        said_at = self._at(self.day - timedelta(days=2))
        return self._said(situation, rows, helper if to_helper else patient, said_at)

    def nothing(self, situation: str) -> Trial:
        patient, _ = self._people()
        return self._said(
            situation, [Message(patient=patient, kind=self.kind.value, subject="")], patient, self._at(self.day)
        )

    def _said(
        self,
        situation: str,
        rows: Sequence[Message],
        recipient: Patient | Helper,
        at: datetime,
        signs: Sequence[str] = (),
    ) -> Trial:
        saying = Saying(rows[0], rows[1:], recipient, self.clinic, at, signs)
        return Trial(self.kind, situation, words_for(saying), _first_tape(saying))

    def _people(self) -> tuple[Patient, Helper]:
        patient = Patient(call_me="Ada", language=self.tongue.key)
        return patient, Helper(patient=patient, call_me="Bo", language=self.tongue.key)

    def _tape(self, patient: Patient, place: tuple[str, str], by: str) -> Application:
        applied = self.day - timedelta(days=self.clinic.wear_last_day)
        visit = self._visit(patient, Visit.Purpose.REMOVAL) if by == "visit" else None
        return Application(
            pk=0, patient=patient, region=place[0], side=place[1], removal="clinic" if visit else by,
            applied_at=self._at(applied), saved_at=self._at(applied), removal_visit=visit,
            adhesion_minutes=self.clinic.adhesion_minutes, water_minutes=self.clinic.water_minutes,
            opens_on=applied + timedelta(days=self.clinic.wear_first_day), closes_on=self.day, removal_day=self.day,
            ended_at=self._at(self.day) if self.kind is MessageKind.SKIN_FOLLOW_UP else None,
        )  # fmt: skip

    def _visit(self, patient: Patient, purpose: str, extra_days: int = 0) -> Visit:
        starts_at = self._at(self.day + timedelta(days=extra_days)) + timedelta(hours=1)
        ends_at = starts_at + timedelta(minutes=30)
        return Visit(pk=0, patient=patient, starts_at=starts_at, ends_at=ends_at, purpose=purpose)

    def _at(self, day: date) -> datetime:
        return datetime.combine(day, MORNING, self.clinic.zone)


def _first_tape(saying: Saying) -> TapeNow | None:
    tape = saying.row.application
    if tape is None or saying.signs:
        return None
    return tape_now(tape, clinic=saying.clinic, now=saying.now, tongue=saying.tongue)


def _days_worn(kind: MessageKind, last_day: int) -> int:
    """Days after the tape went on at which a kind is said to somebody whose tape comes off on the last day."""
    return {
        MessageKind.SKIN_CHECK: 2,
        MessageKind.REMOVAL_EVE: last_day - 1,
        MessageKind.REMOVAL_DAY: last_day,
        MessageKind.REMOVAL_OVERDUE: last_day + 1,
        MessageKind.SKIN_FOLLOW_UP: last_day + 1,
    }.get(kind, 0)


def _longest_day(today: date, tongue: Tongue) -> date:
    """The day of the coming year that takes the most letters to write out."""
    days = (today + timedelta(days=offset) for offset in range(DAYS_IN_A_YEAR))
    return max(days, key=lambda day: len(day_words(day, tongue)))


def _longest_places(tongue: Tongue) -> tuple[tuple[str, str], tuple[str, str]]:
    """The two regions, each with a side, that take the most letters."""
    places = {
        (region.key, side.value): place_words(region.key, side.value, tongue)
        for region in REGIONS.values()
        for side in region.sides
    }
    first = max(places, key=lambda place: len(places[place]))
    others = [place for place in places if place[0] != first[0]]
    return first, max(others, key=lambda place: len(places[place]))
