"""What a later answer about the person means for the screens of the day before it."""

import pytest

from taping.rules.skin import QUESTIONS, About, Answer, GoalError
from taping.rules.skin_person import PERSON_KEYS, person_answers, person_changed

NO, YES = Answer.NO, Answer.YES


def keys(found: object) -> list[str]:
    return [question.key for question in found]  # type: ignore[attr-defined]


def test_person_answers_are_told_from_those_about_the_skin() -> None:
    assert person_answers({"diabetes": "yes", "rash": "no"}) == {"diabetes": "yes"}
    assert {question.key for question in QUESTIONS if question.about is About.PERSON} == PERSON_KEYS


@pytest.mark.parametrize(
    ("later", "changed"),
    [
        ([], []),
        ([{"diabetes": NO}], []),
        ([{"diabetes": YES}], ["diabetes"]),
        ([{"diabetes": None}], []),
        ([{"rash": YES}], []),
        ([{"diabetes": YES}, {"diabetes": NO}], []),
        ([{"diabetes": YES}, {}], ["diabetes"]),
        ([{"pregnancy": YES}], ["pregnancy"]),
    ],
)
def test_last_answer_of_the_day_counts(later: list[dict[str, Answer | None]], changed: list[str]) -> None:
    assert keys(person_changed({"diabetes": NO, "rash": NO}, goal=None, later=later)) == changed


def test_questions_of_another_goal_do_not_count() -> None:
    told, later = {"heart_failure": NO}, [{"heart_failure": YES}]
    assert keys(person_changed(told, goal="ease_pain", later=later)) == []
    assert keys(person_changed(told, goal="move_swelling", later=later)) == ["heart_failure"]


def test_stored_words_compare_with_answers() -> None:
    assert person_changed({"diabetes": Answer("no")}, goal=None, later=[{"diabetes": Answer("no")}]) == ()


def test_unknown_goal_is_refused() -> None:
    with pytest.raises(GoalError):
        person_changed({}, goal="win", later=[])
