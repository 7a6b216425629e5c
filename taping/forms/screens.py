"""The skin screen as a form: one group of large answers for each question, nothing answered beforehand."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.forms import BoundField

from clinic.forms.fields import LineField, sentence
from clinic.models import User
from taping.forms.times import TimeOfDayField, time_of_day, time_of_today
from taping.rules.clock import ClockError, local_date
from taping.rules.late_entry import LATE_AFTER, MOST_DAYS_BACK
from taping.rules.skin import (
    QUESTIONS,
    About,
    Answer,
    AnswerError,
    Finding,
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
from taping.services.screen_drafts import WORDS
from taping.services.screens import MOST_NOTE

_WORDS = {Answer.YES: "Yes", Answer.NO: "No", Answer.NOT_KNOWN: "Not known", Answer.SORTED_OUT: "Sorted out"}
MOST_NAMED = 2
"""So many open questions of a group are named in the summary; more are counted."""
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

    @property
    def all_answered(self) -> bool:
        return all(field.value() and not field.errors for field in self.fields)


@dataclass(frozen=True, slots=True)
class OpenGroup:
    """Questions of one group that nobody has answered yet, in the order in which they stand."""

    head: str
    fields: list[BoundField]

    @property
    def counted(self) -> bool:
        """Whether they are too many to be read one by one."""
        return len(self.fields) > MOST_NAMED


@dataclass(frozen=True, slots=True)
class WrongField:
    """A field with an error, and the words of it where the field itself is not in sight."""

    field: BoundField
    words: str


@dataclass(frozen=True, slots=True)
class ScreenAsked:
    """What the form is asked for. now: aware; zone: the clinic's; staff: who may be named as supervisor, if needed."""

    now: datetime
    zone: ZoneInfo
    staff: Sequence[User] = ()

    @property
    def today(self) -> date:
        return local_date(self.now, self.zone)

    def days(self) -> list[tuple[str, str]]:
        """The days on which the questions may have been asked; an empty value means today."""
        earlier = [self.today - timedelta(days=back) for back in range(1, MOST_DAYS_BACK + 1)]
        said = [f"{day:%A} {day.day} {day:%B}" for day in earlier]
        return [
            ("", "today"),
            (earlier[0].isoformat(), f"yesterday, {said[0]}"),
            *((day.isoformat(), words) for day, words in zip(earlier[1:], said[1:], strict=True)),
        ]


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
    made_on = forms.ChoiceField(
        label="Day",
        required=False,
        error_messages={"invalid_choice": "Choose one of these days: a screen is entered two days late at most."},
    )
    made_at = TimeOfDayField(
        label="Asked at",
        help_text=f"Leave empty for now. A time more than {LATE_AFTER.total_seconds() / 60:.0f} minutes ago "
        "needs a reason.",
    )
    late_reason = LineField(label="Why it is recorded later", longest=300, required=False)
    note = forms.CharField(
        label="Note: how the cautions are met, what was advised",
        required=False,
        max_length=MOST_NOTE,
        error_messages={"max_length": f"The note is longer than {MOST_NOTE} characters. Shorten it."},
        widget=forms.Textarea(attrs={"rows": 3, "dir": "auto"}),
    )

    def __init__(self, *args: Any, asked: ScreenAsked | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.asked = asked
        self.fields["made_on"].choices = asked.days() if asked else [("", "today")]  # type: ignore[attr-defined]
        if asked and asked.staff:
            self.fields["supervisor"] = forms.ChoiceField(
                label="Supervisor, who signs this screen",
                choices=[("", "choose"), *((str(one.pk), one.full_name) for one in asked.staff)],
                error_messages={"required": "Name the therapist who supervises."},
            )
        for question in QUESTIONS:
            self.fields[question.key] = forms.ChoiceField(
                label=question.text, choices=choices_of(question), widget=forms.RadioSelect, required=False
            )
        self.order_fields(["goal", *(question.key for question in QUESTIONS), "note", *WORDS[1:]])

    def groups(self) -> Iterator[QuestionGroup]:
        for (about, weight), head in _HEADS.items():
            asked = [one for one in QUESTIONS if one.about is about and one.weight is weight]
            yield QuestionGroup(f"{about}-{weight}", head, about, [self[question.key] for question in asked])

    def unanswered(self) -> list[OpenGroup]:
        """What a summary counts, group by group: a screen that is hardly begun has more open than anybody reads."""
        given = self.answers()
        found = ((one.head, [field for field in one.fields if _nothing_said(field, given)]) for one in self.groups())
        return [OpenGroup(head, fields) for head, fields in found if fields]

    def counted(self) -> list[BoundField]:
        """The questions that the summary counts and does not name, all of them, to be reached one by one."""
        return [field for group in self.unanswered() if group.counted for field in group.fields]

    def to_put_right(self) -> list[WrongField]:
        """Every other field with an error, each to be read by itself."""
        given = self.answers()
        wrong = [field for field in self if field.errors and not _nothing_said(field, given)]
        return [WrongField(field, _in_summary(field, asked=field.name in given)) for field in wrong]

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
        day, typed = self.cleaned_data["made_on"], self.cleaned_data["made_at"]
        if day and typed is None:
            raise TapingRefused("Give the time of that day at which it was asked.", "made_at")
        try:
            if day:
                return time_of_day(typed, date.fromisoformat(day), zone)
            return time_of_today(typed, now=now, zone=zone)
        except ClockError as impossible:
            raise TapingRefused(sentence(str(impossible)), "made_at") from impossible

    def typed(self) -> dict[str, str]:
        """What is filled in, by the names of the fields, as a draft keeps it; an unreadable answer is none."""
        held = self.data if self.is_bound else self.initial
        answers = {key: answer.value for key, answer in self.answers().items() if answer is not None}
        words = {name: str(held.get(name) or "") for name in (*WORDS, "note")}
        words["goal"] = self.goal_chosen()
        texts = {name: text.replace("\r\n", "\n").replace("\x00", "") for name, text in words.items()}
        return {**answers, **{name: text for name, text in texts.items() if text.strip()}}

    def named_supervisor(self) -> User | None:
        """Who was named, from a valid form."""
        chosen = self.cleaned_data.get("supervisor", "")
        return next((one for one in (self.asked.staff if self.asked else ()) if str(one.pk) == chosen), None)

    def verdict(self) -> Verdict:
        return judge(self.answers(), goal=self.goal_chosen() or None)

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        verdict = self.verdict()
        if verdict.outcome is Outcome.UNFINISHED:
            for reason in verdict.reasons:
                # A caution that was found is no error, and one that nobody knows counts as found.
                if reason.finding is Finding.OPEN and reason.question not in self.errors:
                    self.add_error(reason.question, _open_words(reason.answer))
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
        answered = {key: answer for key, answer in filled.items() if answer}
        return ScreenForm(initial={**_kept(self.data), **answered}, asked=self.asked)


def _nothing_said(field: BoundField, given: Mapping[str, Answer | None]) -> bool:
    """Whether it is a question without an answer, which is an error once the screen is to be recorded."""
    return bool(field.errors) and field.name in given and not field.value()


def _in_summary(field: BoundField, *, asked: bool) -> str:
    words = " ".join(map(str, field.errors))
    return f"{words} {field.label}" if asked else words


def _open_words(answer: Answer | None) -> str:
    """Beside the question, whose own words stand there already."""
    return "Not answered yet." if answer is None else "Not known: find out first."


def _kept(data: Mapping[str, Any]) -> dict[str, Any]:
    return {name: data.get(name, "") for name in ("note", *WORDS)}
