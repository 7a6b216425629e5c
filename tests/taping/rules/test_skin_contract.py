"""The names that pages, services and checks from outside rely on."""

from dataclasses import fields

import pytest

from taping.rules import removal, report, skin, wear, wear_state
from taping.rules.skin import GOALS, QUESTIONS, Answer, Outcome, Question, Reason, Verdict, Weight
from taping.rules.skin_questions import About


@pytest.mark.parametrize(
    ("enum", "values"),
    [
        (Answer, "yes no not_known sorted_out"),
        (Outcome, "unfinished do_not_tape prepare_first clear_with_care clear"),
        (Weight, "stop prepare caution"),
        (About, "person region"),
        (removal.Remover, "home helper clinic"),
        (wear_state.TapeState, "setting on due overdue off"),
        (report.Urgency, "none watch soon today emergency"),
    ],
)
def test_enums_are_their_names_in_lower_case(enum: type[Answer], values: str) -> None:
    assert [member.value for member in enum] == values.split()
    assert [member.name.lower() for member in enum] == values.split()
    assert [f"{member}" for member in enum] == values.split()


def test_a_question_a_reason_and_a_verdict_have_their_fields() -> None:
    names = {kind: {field.name for field in fields(kind)} for kind in (Question, Reason, Verdict)}
    assert names[Question] >= {"key", "text", "weight", "about", "advice", "urgency", "source", "goals"}
    assert names[Reason] >= {"question", "text", "advice", "urgency", "who"}
    assert names[Verdict] == {"outcome", "reasons"}


def test_questions_are_a_tuple_with_a_key_each() -> None:
    assert isinstance(QUESTIONS, tuple)
    assert len({question.key for question in QUESTIONS}) == len(QUESTIONS) == 57


def test_the_goals_are_those_of_the_techniques() -> None:
    assert GOALS == ("ease_muscle", "support_muscle", "steady_joint", "ease_pain", "move_swelling")


def test_the_signs_a_patient_can_report() -> None:
    assert {sign.key for sign in report.SIGNS} == {
        *("itching", "burning", "redness", "rash", "hives", "blister", "broken_skin", "limb_swelling"),
        *("face_swelling", "numbness", "cold_or_blue", "weakness", "rising_pain", "calf_pain", "fever_or_pus"),
        *("breathing", "faint", "chest_pain"),
    }


@pytest.mark.parametrize("name", skin.__all__)
def test_what_the_skin_module_offers_is_there(name: str) -> None:
    assert hasattr(skin, name)


@pytest.mark.parametrize(
    "name", ["adhesion_ends", "earliest_taping", "wear_window", "removal_options", "skin_rest_ends"]
)
def test_what_the_wear_module_offers_is_there(name: str) -> None:
    assert callable(getattr(wear, name))
