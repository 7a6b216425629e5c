"""The form of a screen asks every question once, answers none of them, and never reads silence as a no."""

import pytest

from taping.forms.screens import ScreenForm
from taping.rules.skin import QUESTIONS, About, Answer, AnswerError, Outcome, Weight
from tests.taping.screening import answers


def test_every_question_stands_in_exactly_one_group() -> None:
    groups = list(ScreenForm().groups())
    named = [field.name for group in groups for field in group.fields]
    assert sorted(named) == sorted(question.key for question in QUESTIONS)
    assert [group.head for group in groups] == [
        "Stops, about the person",
        "Cautions, about the person",
        "Stops, about this skin",
        "To put right first, on this skin",
        "Cautions, about this skin",
    ]


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.key)
def test_answers_offered_are_those_the_rules_take(question: object) -> None:
    key, weight = question.key, question.weight  # type: ignore[attr-defined]
    offered = {value for value, _ in ScreenForm().fields[key].choices}  # type: ignore[attr-defined]
    expected = {"no", "yes", "not_known"} | ({"sorted_out"} if weight is Weight.PREPARE else set())
    assert offered == expected


def test_nothing_is_answered_beforehand() -> None:
    form = ScreenForm()
    assert set(form.answers().values()) == {None}
    assert form.verdict().outcome is Outcome.UNFINISHED


@pytest.mark.parametrize("word", ["", "maybe", "YES", "sorted_out"])
def test_unreadable_answer_to_a_stop_counts_as_unanswered(word: str) -> None:
    form = ScreenForm(answers(rash=word))
    assert form.answers()["rash"] is None
    assert form.verdict().outcome is Outcome.UNFINISHED


def test_all_no_is_valid_and_clear() -> None:
    form = ScreenForm(answers())
    assert form.is_valid()
    assert form.verdict().outcome is Outcome.CLEAR


def test_errors_stand_in_the_order_of_the_questions() -> None:
    form = ScreenForm(answers(rash="", consent_missing="", sensor=""))
    form.is_valid()
    shown = [field.name for field in form if field.errors]
    assert shown == ["consent_missing", "rash", "sensor"]


def test_not_known_stop_asks_to_find_out() -> None:
    form = ScreenForm(answers(clot_suspected="not_known"))
    assert not form.is_valid()
    assert form.errors["clot_suspected"] == ["Not known: find out first."]


def test_hold_needs_no_other_answer() -> None:
    form = ScreenForm({"infection": "yes"})
    assert form.is_valid()
    assert form.verdict().outcome is Outcome.DO_NOT_TAPE


@pytest.mark.parametrize(("note", "valid"), [("", False), ("   ", False), ("met by short wear", True)])
def test_caution_wants_a_note(note: str, valid: bool) -> None:
    form = ScreenForm({**answers(pregnancy="yes"), "note": note})
    assert form.is_valid() is valid
    assert ("note" in form.errors) is not valid


@pytest.mark.parametrize(
    ("goal", "outcome"), [("move_swelling", "do_not_tape"), ("ease_pain", "clear"), ("", "do_not_tape")]
)
def test_goal_decides_whether_heart_failure_counts(goal: str, outcome: str) -> None:
    assert ScreenForm({**answers(heart_failure="yes"), "goal": goal}).verdict().outcome == outcome


def test_tampered_goal_counts_as_none() -> None:
    form = ScreenForm({**answers(heart_failure="yes"), "goal": "win"})
    assert form.goal_chosen() == ""
    assert form.verdict().outcome is Outcome.DO_NOT_TAPE


def test_none_of_these_fills_only_open_cautions() -> None:
    told = answers(diabetes="", sensor="", pregnancy="yes", latex_allergy="not_known")
    filled = ScreenForm({**told, "note": "kept", "goal": "ease_pain"}).none_of_these()
    assert not filled.is_bound
    assert filled.answers() == {
        **{key: Answer(word) for key, word in answers().items()},
        "pregnancy": Answer.YES,
        "latex_allergy": Answer.NOT_KNOWN,
    }
    assert (filled.initial["note"], filled.initial["goal"]) == ("kept", "ease_pain")


@pytest.mark.parametrize("weight", [Weight.STOP, Weight.PREPARE])
def test_none_of_these_waits_for_each_stop_and_preparation(weight: Weight) -> None:
    for question in (one for one in QUESTIONS if one.weight is weight):
        with pytest.raises(AnswerError):
            ScreenForm(answers(**{question.key: ""})).none_of_these()


def test_person_and_skin_are_told_apart() -> None:
    about = {group.key: group.about for group in ScreenForm().groups()}
    assert about == {
        "person-stop": About.PERSON,
        "person-caution": About.PERSON,
        "region-stop": About.REGION,
        "region-prepare": About.REGION,
        "region-caution": About.REGION,
    }
