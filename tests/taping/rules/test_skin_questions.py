"""The questions as a clinician reads them in the data file."""

from typing import Any

import pytest

from taping.rules.skin_questions import (
    GOALS,
    QUESTION_BY_KEY,
    QUESTIONS,
    About,
    GoalError,
    Patch,
    Question,
    Weight,
    by_weight,
    question_from,
    questions_for,
    questions_from,
)
from taping.rules.toml_data import DataError
from taping.rules.urgency import Urgency

ROW: dict[str, Any] = {
    "key": "rash",
    "text": "Is there a rash here?",
    "weight": "stop",
    "about": "region",
    "advice": "No tape.",
    "source": "common practice, no source",
}
each = pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.key)

# What the contraindication lists and the clinic's own practice ask about, one word each; a question dropped from the
# data file by mistake would leave a patient unprotected and nothing else would notice.
STOPS = {
    *("consent_missing", "clot_known", "clot_suspected", "cancer_not_agreed", "lymph_nodes_not_agreed"),
    *("heart_failure", "kidney_failure", "adhesive_allergy", "earlier_blistering", "earlier_spreading"),
    *("earlier_general", "open_wound", "unhealed_scar", "rash", "infection", "burnt_skin", "broken_skin"),
    *("skin_tears", "radiotherapy_here", "front_of_neck", "fracture_suspected", "hot_joint", "unassessed_injury"),
}
PREPARE = {
    *("oil_or_lotion", "damp_skin", "recent_exercise", "hair_in_way", "dirty_skin", "shaved", "waxed", "peeled"),
    "tape_here",
}
CAUTIONS = {
    *("mild_reaction_tape", "mild_reaction_plaster", "reaction_nail_gel", "reaction_sensor_glue", "latex_allergy"),
    *("diabetes", "blood_thinner", "bleeding_disorder", "long_term_steroids", "pregnancy", "child", "unwell"),
    *("feverish", "cannot_report", "fragile_skin", "reduced_feeling", "poor_circulation", "retinoid"),
    *("steroid_cream", "medicine_patch", "pump", "sensor", "stoma", "dressing", "painful_touch"),
}


def test_every_stop_preparation_and_caution_is_asked() -> None:
    groups = {weight: {question.key for question in group} for weight, group in by_weight(QUESTIONS).items()}
    assert groups == {Weight.STOP: STOPS, Weight.PREPARE: PREPARE, Weight.CAUTION: CAUTIONS}


def test_stops_are_asked_first_and_cautions_last() -> None:
    assert tuple(question for group in by_weight(QUESTIONS).values() for question in group) == QUESTIONS


@each
def test_a_question_is_one_question_with_advice_and_a_source(question: Question) -> None:
    assert question.text.endswith("?")
    assert question.text.count("?") == 1
    assert question.advice.endswith(".")
    assert len(question.source) > 10


@each
def test_a_question_can_be_answered_with_a_plain_no(question: Question) -> None:
    words = question.text.split()
    assert words[0] in {"Is", "Was", "Were", "Does", "Did", "Has", "Would"}
    assert not {"not", "no"} & set(words[:3])


@each
def test_nobody_is_sent_away_without_saying_to_whom(question: Question) -> None:
    assert (question.urgency is Urgency.NONE) == (question.who == "")
    assert question.urgency in (Urgency.NONE, Urgency.SOON, Urgency.TODAY)


def test_who_must_be_seen_today() -> None:
    today = {question.key for question in QUESTIONS if question.urgency is Urgency.TODAY}
    assert today == {"clot_known", "clot_suspected", "infection", "fracture_suspected", "hot_joint"}


@each
def test_no_question_and_no_advice_calls_skin_red_alone(question: Question) -> None:
    # On dark skin a reaction is seldom red.
    assert " red " not in f" {question.text} {question.advice} ".replace(",", " ").replace(".", " ")


def test_heart_and_kidney_failure_against_the_contraindication_lists() -> None:
    # Practitioners' contraindication lists: stop for drainage, refer.
    limited = {question.key: question.goals for question in QUESTIONS if question.goals}
    assert limited == {"heart_failure": ("move_swelling",), "kidney_failure": ("move_swelling",)}
    assert {QUESTION_BY_KEY[key].urgency for key in limited} == {Urgency.SOON}


def test_advice_on_hair_against_the_surgical_site_guidelines() -> None:
    # WHO global guidelines 2016, recommendation 8, and NICE NG125: leave it, or clip; never shave (by analogy).
    question = QUESTION_BY_KEY["hair_in_way"]
    assert question.advice.startswith("Leave it if tape can hold. Otherwise clip it")
    assert question.advice.endswith("never shave.")
    assert "by analogy" in question.source


@pytest.mark.parametrize(
    ("key", "weight"),
    [
        # Contraindication lists of practitioners' pages, exclusion criteria of trials.
        ("open_wound", "stop"),
        ("infection", "stop"),
        ("cancer_not_agreed", "stop"),
        ("clot_known", "stop"),
        ("clot_suspected", "stop"),
        ("adhesive_allergy", "stop"),
        ("burnt_skin", "stop"),
        ("rash", "stop"),
        ("lymph_nodes_not_agreed", "stop"),
        ("unhealed_scar", "stop"),
        ("fragile_skin", "caution"),
        ("skin_tears", "stop"),
        ("diabetes", "caution"),
        ("reduced_feeling", "caution"),
        ("pregnancy", "caution"),
        ("cannot_report", "caution"),
    ],
)
def test_weights_against_the_contraindication_lists(key: str, weight: str) -> None:
    assert QUESTION_BY_KEY[key].weight == weight


def test_earlier_reactions_say_what_they_mean_for_a_patch_test() -> None:
    marked = {patch: {q.key for q in QUESTIONS if q.patch is patch} for patch in (Patch.SEVERE, Patch.MILD)}
    assert marked[Patch.SEVERE] == {"adhesive_allergy", "earlier_blistering", "earlier_spreading", "earlier_general"}
    assert marked[Patch.MILD] == {
        *("mild_reaction_tape", "mild_reaction_plaster", "reaction_nail_gel", "reaction_sensor_glue"),
    }


def test_questions_are_asked_about_the_person_or_about_this_skin() -> None:
    person, region = questions_for(about=About.PERSON), questions_for(about=About.REGION)
    assert {question.about for question in person} == {About.PERSON}
    assert {question.about for question in region} == {About.REGION}
    assert {*person, *region} == set(QUESTIONS)


def test_with_another_goal_the_questions_about_swelling_are_left_out() -> None:
    assert questions_for() == questions_for("move_swelling") == QUESTIONS
    left_out = (
        set(QUESTIONS) - set(questions_for("ease_pain", About.PERSON)) - set(questions_for("ease_pain", About.REGION))
    )
    assert {question.key for question in left_out} == {"heart_failure", "kidney_failure"}


def test_an_unknown_goal_is_refused() -> None:
    with pytest.raises(GoalError, match="'cure' is not a goal; choose one of " + ", ".join(GOALS)):
        questions_for("cure")


def test_an_empty_list_has_three_empty_groups() -> None:
    assert by_weight([]) == {Weight.STOP: (), Weight.PREPARE: (), Weight.CAUTION: ()}


def test_a_plain_entry_is_read_with_what_it_leaves_out() -> None:
    question = question_from({**ROW, "text": "Is there\n  a rash here?"})
    assert question.text == "Is there a rash here?"
    assert (question.urgency, question.who, question.goals, question.patch) == (Urgency.NONE, "", (), Patch.NONE)


@pytest.mark.parametrize("field", ["key", "text", "weight", "about", "advice", "source"])
def test_an_entry_without_one_of_its_fields_is_refused(field: str) -> None:
    with pytest.raises(DataError, match=f"needs a text for '{field}'"):
        question_from({name: value for name, value in ROW.items() if name != field})


@pytest.mark.parametrize("field", ["weight", "about", "urgency", "patch"])
def test_an_entry_with_an_unknown_word_is_refused(field: str) -> None:
    with pytest.raises(ValueError, match="'perhaps' is not a valid"):
        question_from({**ROW, field: "perhaps"})


def test_an_entry_may_name_every_goal() -> None:
    assert question_from({**ROW, "goals": list(GOALS)}).goals == GOALS


def test_an_entry_limited_to_an_unknown_goal_is_refused() -> None:
    with pytest.raises(DataError, match="question 'rash' is limited to"):
        question_from({**ROW, "goals": ["ease_pain", "cure"]})


@pytest.mark.parametrize("extra", [{"urgency": "today"}, {"who": "a doctor"}])
def test_an_urgency_and_who_sees_the_patient_come_together(extra: dict[str, str]) -> None:
    with pytest.raises(DataError, match="question 'rash' needs both an urgency and who sees the patient"):
        question_from({**ROW, **extra})
    assert question_from({**ROW, "urgency": "today", "who": "a doctor"}).who == "a doctor"


def test_one_key_for_two_questions_is_refused() -> None:
    with pytest.raises(DataError, match="two questions have the key 'rash'"):
        questions_from([ROW, ROW])
