"""How a tape ended, and what happened to its strips before, as forms."""

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

from django import forms

from taping.forms.times import to_the_minute
from taping.models import Application, Strip, StripEvent
from taping.rules.pain import SCORES
from taping.rules.report import SIGNS
from taping.rules.shape_kinds import SHAPES, ShapeKind
from taping.services.endings import EndingDetails
from taping.services.reports import MOST_WORDS
from taping.services.strip_events import MOST_NOTE, StripHappening

BY_WORDS = [
    ("therapist", "I did, here at the clinic"),
    ("colleague", "A colleague, here at the clinic"),
    ("patient", "The patient"),
    ("helper", "A helper"),
    ("other", "Somebody else"),
]
NOT_ASKED = "not_asked"


class MomentField(forms.DateTimeField):
    """A day and time of the clinic's zone, as browsers send it; gives an aware datetime in UTC, or None."""

    def __init__(self, **kwargs: Any) -> None:
        widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
        invalid = "Write the day and time like 2027-03-15 14:05."
        super().__init__(required=False, widget=widget, error_messages={"invalid": invalid}, **kwargs)

    def prepare_value(self, value: Any) -> Any:
        return to_the_minute(super().prepare_value(value))

    def clean(self, value: Any) -> datetime | None:
        # Django reads the time in the page's zone, and refuses one that clocks there skip or show twice.
        typed: datetime | None = super().clean(value)
        return None if typed is None else typed.astimezone(UTC)


def radios(label: str, choices: Sequence[tuple[str, Any]], **kwargs: Any) -> forms.ChoiceField:
    """Large answers, none of them chosen beforehand."""
    return forms.ChoiceField(label=label, choices=choices, widget=forms.RadioSelect, **kwargs)


def signs_field() -> forms.MultipleChoiceField:
    return forms.MultipleChoiceField(
        label="What is seen or felt on the skin?",
        choices=[(sign.key, sign.staff_words) for sign in SIGNS],
        widget=forms.CheckboxSelectMultiple(attrs={"class": "form-check-input"}),
        required=False,
        help_text="Anything ticked opens a skin report; its advice follows at once.",
    )


def words_field(label: str) -> forms.CharField:
    widget = forms.Textarea(attrs={"rows": 3, "dir": "auto"})
    return forms.CharField(label=label, required=False, max_length=MOST_WORDS, widget=widget)


class EndForm(forms.Form):
    """How, when and by whom the tape came off, and how the skin is. asks_pain: the pain at the end is still open."""

    how = radios("How did it end?", Application.Ending.choices, error_messages={"required": "Say how it ended."})
    ended_at = MomentField(label="It came off at", help_text="Leave empty for now.")
    roughly = forms.BooleanField(label="That time is only roughly known", required=False)
    by = radios("Who took it off?", BY_WORDS, required=False, help_text="Leave open where it came off by itself.")
    went = radios("How did it go?", Application.Went.choices, required=False)
    hair = radios("Hair", Application.Hair.choices, required=False)
    residue = radios("Residue", Application.Residue.choices, required=False)
    signs = signs_field()
    skin_after = radios(
        "The skin, 30 minutes after it came off",
        [(value, label.capitalize()) for value, label in Application.SkinAfter.choices],
        required=False,
        help_text="Leave it open while the 30 minutes run: the tape's page then says when to look again.",
    )
    pain = radios(
        "Pain now, from 0 (no pain) to 10 (worst pain imaginable)",
        [*((str(score), str(score)) for score in SCORES), (NOT_ASKED, "Not asked")],
        required=False,
    )
    note = words_field("Anything else about how it went")

    def __init__(self, *args: Any, now: datetime, asks_pain: bool = True, **kwargs: Any) -> None:
        self.now = now
        super().__init__(*args, **kwargs)
        if not asks_pain:
            del self.fields["pain"]

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        by_itself = cleaned.get("how") == Application.Ending.CAME_OFF
        if not cleaned.get("by") and not by_itself and "by" not in self.errors:
            self.add_error("by", "Say who took it off.")
        if "ended_at" in cleaned and cleaned["ended_at"] is None:
            if by_itself:
                self.add_error("ended_at", "Say when it came off; roughly is enough.")
            cleaned["ended_at"] = self.now
        if not cleaned.get("signs") and "signs" not in self.errors:
            self._ask_for_signs(cleaned)
        return cleaned

    def _ask_for_signs(self, cleaned: dict[str, Any]) -> None:
        if cleaned.get("how") == Application.Ending.SKIN:
            self.add_error("signs", "It came off for the skin: tick what is seen or felt.")
        elif cleaned.get("went") == Application.Went.TORE:
            self.add_error("signs", "It tore the skin: tick what is seen or felt.")
        elif cleaned.get("skin_after") == Application.SkinAfter.CHANGED:
            self.add_error("signs", "A change is seen: tick what it is.")

    def details(self) -> EndingDetails:
        """What a valid form says beyond how, when and by whom."""
        said = self.cleaned_data
        return EndingDetails(
            roughly=said["roughly"],
            went=said["went"],
            hair=said["hair"],
            residue=said["residue"],
            skin_after=said["skin_after"],
        )


class ReportNewForm(forms.Form):
    """What a therapist or student sees, or is told, about the skin of a tape."""

    signs = signs_field()
    words = words_field("In words, the patient's own where they said it")

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        if not self.errors and not cleaned["signs"] and not cleaned["words"].strip():
            self.add_error("signs", "Tick what is seen or felt, or write it in words.")
        return cleaned


class StripEventForm(forms.Form):
    """What happened to a strip while the tape is on. strips: those of the tape; off: the positions that are off."""

    what = radios("What happened?", StripEvent.What.choices, error_messages={"required": "Say what happened."})
    strip = forms.TypedChoiceField(
        label="Which strip?", coerce=int, empty_value=None, widget=forms.RadioSelect, required=False
    )
    at = MomentField(label="When?", help_text="Leave empty for now; roughly is enough.")
    by = radios("Who did it?", [("itself", "Nobody: by itself"), *BY_WORDS], required=False)
    note = forms.CharField(
        label="Note", required=False, max_length=MOST_NOTE, widget=forms.Textarea(attrs={"rows": 2, "dir": "auto"})
    )

    def __init__(
        self, *args: Any, now: datetime, strips: Sequence[Strip] = (), worn: Sequence[int] = (), **kwargs: Any
    ) -> None:
        self.now = now
        super().__init__(*args, **kwargs)
        field = self.fields["strip"]
        if isinstance(field, forms.ChoiceField):
            field.choices = [(strip.position, _strip_words(strip, strip.position in worn)) for strip in strips]

    def clean_at(self) -> datetime:
        typed: datetime | None = self.cleaned_data["at"]
        return self.now if typed is None else typed

    def happening(self) -> StripHappening:
        """What a valid form says."""
        said = self.cleaned_data
        return StripHappening(said["what"], said["at"], said["strip"], said["by"], said["note"])


def _strip_words(strip: Strip, worn: bool) -> str:
    label = SHAPES[ShapeKind(strip.shape)].label
    return f"Strip {strip.position}, {label}" + ("" if worn else " (off)")
