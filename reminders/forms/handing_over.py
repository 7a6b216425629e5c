"""What is asked when the patient is handed over: who takes the tape off, and whether the patient said it back."""

from collections.abc import Iterator
from typing import Any

from django import forms
from django.forms import BoundField

from clinic.forms.fields import LineField
from clinic.models import Helper
from taping.models import Application
from taping.rules.removal import REMOVAL_QUESTIONS, RemovalQuestion, Remover, RemoverDecision, remover_allowed
from taping.rules.skin import Answer
from taping.services.handing_over import MOST_WHY, said_before, screen_says

ANSWERS = [(Answer.NO.value, "No"), (Answer.YES.value, "Yes"), (Answer.NOT_KNOWN.value, "Not known")]
WORDS = {
    Remover.HOME: "The patient, at home",
    Remover.HELPER: "A named helper",
    Remover.CLINIC: "We do, here",
}


class HandOverForm(forms.Form):
    """The questions that nothing has answered yet, the choice that they leave, and the tick."""

    removal = forms.ChoiceField(
        label="Who takes it off?",
        widget=forms.RadioSelect,
        error_messages={"required": "Choose who takes the tape off."},
    )
    helper_ready = forms.ChoiceField(
        label="Is the helper an adult who can see, reach and feel the tape?",
        choices=[("yes", "Yes"), ("no", "No")],
        widget=forms.RadioSelect,
        required=False,
    )
    said_back = forms.BooleanField(label="The patient said it back to me", required=False)
    not_said_why = LineField(label="If not: why not", longest=MOST_WHY, required=False)
    left_why = LineField(
        label="They leave all the same: why, and how somebody will see to the tape", longest=MOST_WHY, required=False
    )

    def __init__(self, *args: Any, tape: Application, helpers: list[Helper], **kwargs: Any) -> None:
        self.tape, self.helpers = tape, helpers
        self.known = screen_says(tape)
        begun = {key: answer.value for key, answer in said_before(tape).items()}
        if not tape.remover_open:
            begun |= {"removal": tape.removal, "helper": str(tape.helper_id or ""), "helper_ready": "yes"}
        super().__init__(*args, **{**kwargs, "initial": {**begun, **kwargs.get("initial", {})}})
        against = self.against_home()
        self.fields["removal"].choices = [  # type: ignore[attr-defined]
            (one.value, words) for one, words in WORDS.items() if not (against and one is Remover.HOME)
        ]
        for question in self.open_questions():
            self.fields[question.key] = forms.ChoiceField(
                label=question.text, choices=ANSWERS, widget=forms.RadioSelect, required=False
            )
        self.fields["helper"] = forms.ChoiceField(
            label="Which helper?",
            choices=[("", "choose"), *((str(one.pk), one.full_name) for one in helpers)],
            required=False,
        )
        self.order_fields(["removal", *(question.key for question in self.open_questions()), "helper", "helper_ready"])

    def open_questions(self) -> Iterator[RemovalQuestion]:
        """The questions that the screen leaves open: none where it already rules out taking it off at home."""
        if self.against_home():
            return
        yield from (question for question in REMOVAL_QUESTIONS if question.key not in self.known)

    def questions(self) -> Iterator[BoundField]:
        for question in self.open_questions():
            yield self[question.key]

    def answered(self) -> list[tuple[str, str]]:
        """What the screen says already, question and answer in words."""
        words = {Answer.NO: "no", Answer.YES: "yes", Answer.NOT_KNOWN: "not known"}
        return [(one.text, words[self.known[one.key]]) for one in REMOVAL_QUESTIONS if one.key in self.known]

    def against_home(self) -> list[str]:
        """Why the patient does not take it off, from what is known already."""
        return [one.because for one in REMOVAL_QUESTIONS if self.known.get(one.key, Answer.NO) != Answer.NO]

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        if cleaned.get("removal") == Remover.HOME:
            for question in self.open_questions():
                if question.key not in self.errors and not cleaned.get(question.key):
                    self.add_error(question.key, f"Answer this before it comes off at home: {question.text}")
        if cleaned.get("removal") == Remover.HELPER:
            self._ask_about_the_helper(cleaned)
        return cleaned

    def _ask_about_the_helper(self, cleaned: dict[str, Any]) -> None:
        if not cleaned.get("helper") and "helper" not in self.errors:
            self.add_error("helper", "Choose the helper, or add one on the patient's page first.")
        if not self.helpers:
            return  # nobody to ask about: the page shows no such question yet
        if cleaned.get("helper_ready") == "no":
            self.add_error("helper_ready", "Then choose that we take it off here, or another helper.")
        elif not cleaned.get("helper_ready"):
            self.add_error("helper_ready", "Answer this before a helper takes it off.")

    def answers(self) -> dict[str, Answer | None]:
        """The answers given in this form, of one that is bound."""
        takes = {answer.value: answer for answer in (Answer.YES, Answer.NO, Answer.NOT_KNOWN)}
        return {question.key: takes.get(self.data.get(question.key, "")) for question in self.open_questions()}

    def chosen_helper(self) -> Helper | None:
        wanted = self.cleaned_data.get("helper") if self.cleaned_data.get("removal") == Remover.HELPER else None
        return next((one for one in self.helpers if str(one.pk) == wanted), None)

    def decision(self) -> RemoverDecision:
        """What the rule says to the answers so far."""
        said: dict[str, Answer | None] = {**self.known, **{key: one for key, one in self.answers().items() if one}}
        return remover_allowed(said, helper_ready=self.data.get("helper_ready") == "yes")
