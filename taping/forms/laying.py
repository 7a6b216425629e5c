"""What is asked when the tape is on the skin."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.forms import BoundField

from clinic.forms.fields import LineField, VersionField, sentence
from clinic.models import Clinic, Helper, Patient, User
from taping.forms.times import TimeOfDayField, time_of_day, time_of_today
from taping.models import Application, SkinScreen
from taping.rules.clock import ClockError, local_date
from taping.rules.places import REGIONS, region_words
from taping.rules.removal import REMOVAL_QUESTIONS, removal_answers_from
from taping.rules.skin import Answer
from taping.rules.wear import ShorterWear, spell_day
from taping.services.applications import TapingDetails
from taping.services.laying import LayingList, laid_steps
from taping.services.windows import Shortening

ANSWERS = [(Answer.NO.value, "No"), (Answer.YES.value, "Yes"), (Answer.NOT_KNOWN.value, "Not known")]
REMOVAL_WORDS = [
    (Application.Removal.HOME.value, "the patient, at home"),
    (Application.Removal.HELPER.value, "a helper"),
    (Application.Removal.CLINIC.value, "the clinic"),
]
USUAL = "usual"
"""The answer that keeps the clinic's last day where a shorter wear is proposed: a choice too, so no empty value."""
FIELD_OF = {"applied_at": "time"}
"""Where a refusal of the service stands in this form, when the names differ."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What the form is asked for. now: aware; staff: who may be named as supervisor, empty where none is needed.

    shorter: the proposal to take it off sooner; where there is one, the last day is chosen and never assumed.
    layings: the steps of laying that the form lists and records.
    """

    screen: SkinScreen
    patient: Patient
    clinic: Clinic
    now: datetime
    helpers: list[Helper]
    staff: list[User]
    shorter: ShorterWear | None = None
    layings: Sequence[LayingList] = ()

    @property
    def screened_on(self) -> date:
        """The clinic's day of the screen, on which the tape goes on."""
        return local_date(self.screen.made_at, self.clinic.zone)


@dataclass(frozen=True, slots=True)
class StepTick:
    """One step with its tick, as the page shows it."""

    name: str
    text: str
    ticked: bool


class LayForm(forms.Form):
    """Posture, reason, time, a shorter wear window where the therapist wants one, and who takes it off.

    The last may be left open: it is asked at handing over, with both hands free.
    """

    posture = LineField(label="Posture while measuring and taping", longest=200, required=False)
    reason = LineField(label="Reason for taping", longest=300, required=False)
    time = TimeOfDayField(
        label="It went on at",
        help_text="Leave empty for now. A time of the screen's day more than 15 minutes ago needs a reason.",
    )
    late_reason = LineField(label="Why it is recorded later", longest=300, required=False)
    removal = forms.ChoiceField(
        label="Who takes it off?",
        choices=REMOVAL_WORDS,
        widget=forms.RadioSelect,
        required=False,
    )
    shorten_why = LineField(label="Why it comes off sooner", longest=300, required=False)
    left_out_why = LineField(
        label="What was left out, and why",
        longest=300,
        required=False,
        help_text="Only where a step above is not ticked.",
    )
    steps_shown = forms.BooleanField(required=False, widget=forms.HiddenInput)
    version = VersionField(required=False)

    def __init__(self, *args: Any, asked: Asked, **kwargs: Any) -> None:
        self.asked = asked
        said = removal_answers_from(_answers(asked.screen))
        initial = {key: answer.value for key, answer in said.items() if answer is not None}
        super().__init__(*args, **{**kwargs, "initial": {**initial, **kwargs.get("initial", {})}})
        for question in REMOVAL_QUESTIONS:
            self.fields[question.key] = forms.ChoiceField(
                label=question.text, choices=ANSWERS, widget=forms.RadioSelect, required=False
            )
        names = [(name, step.text) for laying in asked.layings for name, step in laying.named()]
        self.fields["steps"] = forms.MultipleChoiceField(
            label="Steps of laying",
            choices=names,
            required=False,
            widget=forms.CheckboxSelectMultiple,
            error_messages={"invalid_choice": "The steps are others than this page showed. Look through them again."},
        )
        self.fields["steps"].initial = [name for name, _ in names]
        self.fields["side"] = _side(asked.screen)
        self.fields["helper"] = _people("Which helper?", asked.helpers)
        self.fields["last_day"] = _last_day(asked)
        if asked.staff:
            self.fields["supervisor"] = _people("Supervisor, who signs this taping", asked.staff, required=True)
        self.order_fields(["side", "posture", "reason", "time", "late_reason", "removal"])

    def questions(self) -> Iterator[BoundField]:
        for question in REMOVAL_QUESTIONS:
            yield self[question.key]

    def checklist(self) -> Iterator[tuple[LayingList, list[StepTick]]]:
        """The steps of each way of laying with their ticks. They begin ticked: one tap at the end records them all."""
        ticked = set(self["steps"].value() or ())
        for laying in self.asked.layings:
            yield laying, [StepTick(name, step.text, name in ticked) for name, step in laying.named()]

    @property
    def other_place(self) -> str:
        """The place that was not screened, where its side was chosen here: "right knee"; else nothing."""
        region, chosen = self.asked.screen.region, self["side"].value()
        other = chosen in REGIONS[region].sides and chosen != self.asked.screen.side
        return region_words(region, chosen) if other else ""

    def clean_time(self) -> datetime:
        typed, zone, screen = self.cleaned_data["time"], self.asked.clinic.zone, self.asked.screen
        late = self.asked.screened_on != local_date(self.asked.now, zone)
        if late and typed is None:
            raise ValidationError(
                f"The skin was screened on {spell_day(self.asked.screened_on)}. Give the time of that day at which "
                "the tape went on; for tape that goes on now, screen the skin again."
            )
        try:
            applied_at = (
                time_of_day(typed, self.asked.screened_on, zone)
                if late and typed is not None
                else time_of_today(typed, now=self.asked.now, zone=zone)
            )
        except ClockError as impossible:
            raise ValidationError(sentence(str(impossible))) from impossible
        return applied_at if typed is None else _not_before_the_screen(applied_at, screen.made_at)

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        if cleaned.get("removal") == Application.Removal.HOME:
            self._ask_all(cleaned)
        if cleaned.get("removal") == Application.Removal.HELPER and not cleaned.get("helper") and not self.errors:
            self.add_error("helper", "Choose the helper, or add one on the patient's page first.")
        if cleaned.get("last_day") and not cleaned.get("shorten_why") and "shorten_why" not in self.errors:
            self.add_error("shorten_why", "Say why it comes off sooner.")
        self._ask_why_left_out(cleaned)
        return cleaned

    def _ask_why_left_out(self, cleaned: dict[str, Any]) -> None:
        shown = {name for laying in self.asked.layings for name, _ in laying.named()}
        left_out = cleaned.get("steps_shown") and shown - set(cleaned.get("steps", shown))
        if left_out and not cleaned.get("left_out_why") and "left_out_why" not in self.errors:
            self.add_error("left_out_why", "Say why a step was left out, or tick it.")

    def _ask_all(self, cleaned: dict[str, Any]) -> None:
        for question in REMOVAL_QUESTIONS:
            if question.key not in self.errors and not cleaned.get(question.key):
                self.add_error(question.key, f"Answer this before it comes off at home: {question.text}")

    def details(self) -> TapingDetails:
        """What the service needs, from a valid form."""
        cleaned = self.cleaned_data
        answers = {
            question.key: Answer(cleaned[question.key]) if cleaned[question.key] else None
            for question in REMOVAL_QUESTIONS
        }
        helpers = {str(helper.pk): helper for helper in self.asked.helpers}
        staff = {str(one.pk): one for one in self.asked.staff}
        shortening = Shortening(cleaned["last_day"], cleaned["shorten_why"]) if cleaned["last_day"] else None
        return TapingDetails(
            applied_at=cleaned["time"],
            removal=cleaned["removal"] or None,
            helper=helpers.get(cleaned["helper"]) if cleaned["removal"] == Application.Removal.HELPER else None,
            removal_answers=answers,
            shortening=shortening,
            supervisor=staff.get(cleaned.get("supervisor", "")),
            late_reason=cleaned["late_reason"],
            posture=cleaned["posture"],
            reason=cleaned["reason"],
            version=cleaned["version"],
            # A post that did not show the steps says nothing about them: then nothing is on record of them.
            laid_steps=laid_steps(self.asked.layings, cleaned["steps"]) if cleaned["steps_shown"] else (),
            left_out_why=cleaned["left_out_why"],
            side=cleaned["side"],
        )


def _not_before_the_screen(applied_at: datetime, made_at: datetime) -> datetime:
    # A typed time has no seconds: the minute in which the screen was recorded begins before it.
    same_minute = timedelta(0) < made_at - applied_at < timedelta(minutes=1)
    return made_at if same_minute else applied_at


def _answers(screen: SkinScreen) -> dict[str, Answer | None]:
    known = set(Answer)
    return {key: Answer(word) for key, word in screen.answers.items() if word in known}


def _people(label: str, people: list[Any], *, required: bool = False) -> forms.ChoiceField:
    return forms.ChoiceField(
        label=label,
        choices=[("", "choose"), *((str(one.pk), one.full_name) for one in people)],
        required=required,
        error_messages={"required": "Name the therapist who supervises."},
    )


def _side(screen: SkinScreen) -> forms.ChoiceField:
    """The side that was screened stands there beforehand: it is what the page is about, and no answer about skin."""
    return forms.ChoiceField(
        label="Which place is the tape on?",
        choices=[(side.value, region_words(screen.region, side).capitalize()) for side in REGIONS[screen.region].sides],
        initial=screen.side,
        widget=forms.RadioSelect,
        required=False,
        error_messages={"invalid_choice": "Choose the side that the tape is on."},
    )


def _last_day(asked: Asked) -> forms.TypedChoiceField:
    if asked.shorter is None:
        return forms.TypedChoiceField(
            label="Comes off by",
            choices=[("", _usual(asked)), *_sooner(asked)],
            coerce=int,
            empty_value=None,
            required=False,
        )
    return forms.TypedChoiceField(
        label="Which day is to be its last?",
        choices=[*_sooner(asked), (USUAL, _usual(asked))],
        coerce=lambda value: None if value == USUAL else int(value),
        empty_value=None,
        widget=forms.RadioSelect,
        error_messages={"required": "Choose the last day: a shorter wear is proposed for this patient."},
    )


def _usual(asked: Asked) -> str:
    return f"the usual last day, {_spelled(asked, asked.clinic.wear_last_day)}"


def _sooner(asked: Asked) -> list[tuple[int | str, str]]:
    return [(day, f"day {day}, {_spelled(asked, day)}") for day in range(1, asked.clinic.wear_last_day)]


def _spelled(asked: Asked, day: int) -> str:
    return spell_day(asked.screened_on + timedelta(days=day))
