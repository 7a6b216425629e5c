"""What can be corrected in the record of a tape."""

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from clinic.forms.fields import LineField, VersionField, sentence
from clinic.models import Clinic
from taping.forms.lengths import LengthField
from taping.forms.times import TimeOfDayField, time_of_today
from taping.models import Application
from taping.rules.clock import ClockError, local_date
from taping.rules.lengths import format_length, parse_length
from taping.rules.places import REGIONS, region_words
from taping.rules.skin import Outcome
from taping.rules.skin_application import ScreenFacts, TapingFacts, application_allowed
from taping.rules.wear import spell_day
from taping.selectors import unit_of
from taping.services.corrections import StripNumbers
from taping.services.windows import Shortening


@dataclass(frozen=True, slots=True)
class Differing:
    """A field in which the stored record and the typed one are not the same."""

    label: str
    stored: str
    typed: str


class CorrectionForm(forms.Form):
    """Begins with what is on record; only what is typed otherwise is changed."""

    why = LineField(
        label="Why the record is corrected",
        longest=300,
        error_messages={"required": "Say why the record is corrected."},
    )
    version = VersionField()

    def __init__(self, *args: Any, tape: Application, clinic: Clinic, **kwargs: Any) -> None:
        self.tape, self.clinic, self.unit = tape, clinic, unit_of(clinic)
        super().__init__(*args, **kwargs)
        self.initial["version"] = tape.version
        self.fields["time"] = TimeOfDayField(
            label="Put on at",
            initial=tape.applied_at.astimezone(clinic.zone).time().replace(second=0, microsecond=0),
            help_text=f"On {spell_day(local_date(tape.applied_at, clinic.zone))}. Another day is recorded anew.",
        )
        sides = REGIONS[tape.region].sides
        if len(sides) > 1:
            self.fields["side"] = forms.ChoiceField(
                label="Place",
                choices=[(side.value, region_words(tape.region, side)) for side in sides],
                initial=tape.side,
                widget=forms.RadioSelect,
                help_text="On the day of the taping. The skin screen of it is corrected with it.",
            )
        self.fields["posture"] = LineField(
            label="Posture while measuring and taping", longest=200, required=False, initial=tape.plan.posture
        )
        self._strips()
        if tape.ended_at is None:
            self.fields["last_day"] = self._last_day()
        self.order_fields(["time", "side", "posture", *self.strip_names, "last_day", "why"])

    def _strips(self) -> None:
        self.strip_names: list[str] = []
        for strip in self.tape.plan.strips.all():
            for name, label, length in (("span", "span", strip.span_mm), ("paper", "cut", strip.paper_mm)):
                self.strip_names.append(f"{name}_{strip.position}")
                self.fields[self.strip_names[-1]] = LengthField(
                    unit=self.unit,
                    label=f"Strip {strip.position}, {label}",
                    initial=length,
                    error_messages={"required": "A strip has a length."},
                )

    def _last_day(self) -> forms.TypedChoiceField:
        on = local_date(self.tape.applied_at, self.clinic.zone)
        days = range(1, (self.tape.closes_on - on).days)
        return forms.TypedChoiceField(
            label="Comes off by",
            choices=[
                ("", f"as it is, {spell_day(self.tape.closes_on)}"),
                *((day, f"day {day}, {spell_day(on + timedelta(days=day))}") for day in days),
            ],
            coerce=int,
            empty_value=None,
            required=False,
            help_text="Sooner only: nothing lengthens the wear.",
        )

    def clean_time(self) -> Any:
        typed, tape = self.cleaned_data["time"], self.tape
        if typed is None:
            return None
        try:
            at = time_of_today(typed, now=tape.applied_at, zone=self.clinic.zone)
        except ClockError as impossible:
            raise ValidationError(sentence(str(impossible))) from impossible
        # A typed time has no seconds: the minute on record, and the minute of the screen, are not a change.
        if at <= tape.applied_at < at + timedelta(minutes=1):
            return None
        screen = tape.plan.screen
        if at < screen.made_at < at + timedelta(minutes=1):
            at = screen.made_at
        facts = ScreenFacts(1, screen.region, screen.side, Outcome(screen.outcome), screen.made_at)
        allowed = application_allowed(facts, TapingFacts(1, screen.region, screen.side, at), self.clinic.zone)
        if not allowed.allowed:
            raise ValidationError(" ".join(allowed.reasons))
        return at

    def values(self) -> dict[str, Any]:
        """What differs from the record, under the names that the service takes; nothing where nothing does."""
        told, found = self.cleaned_data, {}
        if told["time"] is not None:
            found["applied_at"] = told["time"]
        if told.get("side", self.tape.side) != self.tape.side:
            found["side"] = told["side"]
        if told["posture"] != self.tape.plan.posture:
            found["posture"] = told["posture"]
        strips = self._changed_strips()
        if strips:
            found["strips"] = strips
        if told.get("last_day"):
            found["shortening"] = Shortening(told["last_day"], told["why"])
        return found

    def _changed_strips(self) -> list[StripNumbers]:
        changed = []
        for strip in self.tape.plan.strips.all():
            span = self._typed(f"span_{strip.position}", strip.span_mm)
            paper = self._typed(f"paper_{strip.position}", strip.paper_mm)
            if (span, paper) != (strip.span_mm, strip.paper_mm):
                changed.append(StripNumbers(strip.position, span, paper))
        return changed

    def _typed(self, name: str, stored: float) -> float:
        # The page shows a rounded length; sent back untouched it is no change.
        shown = parse_length(format_length(stored, self.unit), self.unit)
        typed: float = self.cleaned_data[name]
        return stored if abs(typed - shown) < 1e-6 else typed

    def differing(self, stored: Application) -> list[Differing]:
        """Where the record as it is stored now and what is typed here are not the same."""
        fresh = CorrectionForm(tape=stored, clinic=self.clinic)
        rows = []
        for name, field in self.fields.items():
            if name in ("why", "version", "last_day"):
                continue
            here, there = str(self[name].value() or ""), str(fresh[name].value() or "")[: 5 if name == "time" else None]
            if here != there:
                rows.append(Differing(str(field.label), there, here))
        return rows
