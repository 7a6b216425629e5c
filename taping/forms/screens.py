"""The skin screen as a form: one group of large answers for each question, nothing answered beforehand."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.forms import BoundField

from clinic.forms.fields import LineField, sentence
from taping.forms.times import TimeOfDayField, time_of_today
from taping.rules.clock import ClockError
from taping.rules.skin import (
    QUESTIONS,
    About,
    Answer,
    AnswerError,
    Outcome,
    Question,
    Verdict,
    Weight,
    answer_none_of_these,
    judge,
    needs_note,
    none_of_these_blocked_by,
)
from taping.rules.technique import TECHNIQUES
from taping.services.refusals import TapingRefused
from taping.services.screens import MOST_NOTE

_WORDS = {Answer.YES: "Yes", Answer.NO: "No", Answer.NOT_KNOWN: "Not known", Answer.SORTED_OUT: "Sorted out"}
_HEADS = {
    (About.PERSON, Weight.STOP): "Stops, about the person",
    (About.PERSON, Weight.CAUTION): "Cautions, about the person",
    (About.REGION, Weight.STOP): "Stops, about this skin",
    (About.REGION, Weight.PREPARE): "To put right first, on this skin",
    (About.REGION, Weight.CAUTION): "Cautions, about this skin",
}


@dataclass(frozen=True, slots=True)
class QuestionGroup:
    """Questions of one weight about the person or the skin, as fields of the form."""

    key: str
    head: str
    about: About
    fields: list[BoundField]


def choices_of(question: Question) -> list[tuple[str, str]]:
    """The answers a question takes, in the order in which they stand."""
    taken = [Answer.NO, Answer.YES, Answer.NOT_KNOWN]
    if question.weight is Weight.PREPARE:
        taken.insert(2, Answer.SORTED_OUT)
    return [(answer.value, _WORDS[answer]) for answer in taken]


class ScreenForm(forms.Form):
    """Goal, every question, and a note. An unanswered question is never a no: it leaves the screen unfinished."""

    goal = forms.ChoiceField(
        label="What is the tape for?",
        choices=[(goal.value, technique.label.capitalize()) for goal, technique in TECHNIQUES.items()],
        widget=forms.RadioSelect,
        required=False,
        help_text="Heart and kidney failure count only where swelling is to drain, or where nothing is chosen.",
    )
    made_at = TimeOfDayField(
        label="Asked at",
        help_text="Leave empty for now. Another time of today needs a reason when it is more than 15 minutes ago.",
    )
    late_reason = LineField(label="Why it is recorded later", longest=300, required=False)
    note = forms.CharField(
        label="Note: how the cautions are met, what was advised",
        required=False,
        max_length=MOST_NOTE,
        error_messages={"max_length": f"The note is longer than {MOST_NOTE} characters. Shorten it."},
        widget=forms.Textarea(attrs={"rows": 3, "dir": "auto"}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for question in QUESTIONS:
            self.fields[question.key] = forms.ChoiceField(
                label=question.text, choices=choices_of(question), widget=forms.RadioSelect, required=False
            )
        self.order_fields(["goal", *(question.key for question in QUESTIONS), "note", "made_at", "late_reason"])

    def groups(self) -> Iterator[QuestionGroup]:
        for (about, weight), head in _HEADS.items():
            asked = [one for one in QUESTIONS if one.about is about and one.weight is weight]
            yield QuestionGroup(f"{about}-{weight}", head, about, [self[question.key] for question in asked])

    def answers(self) -> dict[str, Answer | None]:
        """What is answered so far; anything unreadable counts as unanswered."""
        return {question.key: self._answer(question) for question in QUESTIONS}

    def _answer(self, question: Question) -> Answer | None:
        word = self.data.get(question.key, "") if self.is_bound else self.initial.get(question.key, "")
        return Answer(word) if word in {value for value, _ in choices_of(question)} else None

    def goal_chosen(self) -> str:
        word = self.data.get("goal", "") if self.is_bound else self.initial.get("goal", "")
        return word if word in set(TECHNIQUES) else ""

    def asked_at(self, *, now: datetime, zone: ZoneInfo) -> datetime:
        """When the questions of this valid form were asked. Raises TapingRefused for a time that no clock shows."""
        try:
            return time_of_today(self.cleaned_data["made_at"], now=now, zone=zone)
        except ClockError as impossible:
            raise TapingRefused(sentence(str(impossible)), "made_at") from impossible

    def verdict(self) -> Verdict:
        return judge(self.answers(), goal=self.goal_chosen() or None)

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        verdict = self.verdict()
        if verdict.outcome is Outcome.UNFINISHED:
            for reason in verdict.reasons:
                if reason.question not in self.errors:
                    self.add_error(reason.question, _open_words(self.fields[reason.question].label, reason.answer))
        elif needs_note(verdict) and "note" not in self.errors and not str(cleaned.get("note", "")).strip():
            self.add_error("note", "Write down how the cautions are met before recording the screen.")
        return cleaned

    def none_of_these(self) -> "ScreenForm":
        """The same form with a no to every caution that is open. Raises AnswerError while it may not be used."""
        answers, goal = self.answers(), self.goal_chosen() or None
        blocking = none_of_these_blocked_by(answers, goal=goal)
        if blocking:
            raise AnswerError("Answer every stop and everything to put right first, each by itself.")
        filled = answer_none_of_these(answers, goal=goal)
        return ScreenForm(initial={**_kept(self.data), **{key: answer for key, answer in filled.items() if answer}})


def _open_words(question: Any, answer: Answer | None) -> str:
    state = "Not answered yet" if answer is None else "Not known, so find out first"
    return f"{state}: {question}"


def _kept(data: Mapping[str, Any]) -> dict[str, Any]:
    return {name: data.get(name, "") for name in ("goal", "note", "made_at", "late_reason")}
