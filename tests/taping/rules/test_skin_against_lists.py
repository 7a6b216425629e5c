"""Every question as the contraindication lists and the clinic's practice weigh it.

L: contraindication lists of practitioners' pages, an exam text and the exclusion criteria of trials.
P: practitioners' pages on preparing skin. G: WHO 2016 recommendation 8 and NICE NG125, by analogy. N: a nursing
journal's page on adhesive injury. M: from memory. C: common practice, no source.
"""

import pytest

from taping.rules.skin import QUESTIONS, Answer, Outcome, judge
from taping.rules.skin_questions import QUESTION_BY_KEY

TABLE = [
    # key, weight, about, urgency, who sees the patient, where from
    ("consent_missing", "stop", "person", "none", "", "C"),
    ("clot_known", "stop", "person", "today", "the treating doctor", "L"),
    ("clot_suspected", "stop", "person", "today", "a doctor who can examine for a clot", "L"),
    ("cancer_not_agreed", "stop", "person", "soon", "the treating team", "L"),
    ("lymph_nodes_not_agreed", "stop", "person", "soon", "the treating team", "L"),
    ("heart_failure", "stop", "person", "soon", "the treating doctor", "L"),
    ("kidney_failure", "stop", "person", "soon", "the treating doctor", "L"),
    ("adhesive_allergy", "stop", "person", "none", "", "L"),
    ("earlier_blistering", "stop", "person", "none", "", "L"),
    ("earlier_spreading", "stop", "person", "none", "", "L"),
    ("earlier_general", "stop", "person", "soon", "an allergist", "L"),
    ("open_wound", "stop", "region", "none", "", "L"),
    ("unhealed_scar", "stop", "region", "none", "", "L"),
    ("rash", "stop", "region", "none", "", "L"),
    ("infection", "stop", "region", "today", "a doctor", "L"),
    ("burnt_skin", "stop", "region", "none", "", "L"),
    ("broken_skin", "stop", "region", "none", "", "L"),
    ("skin_tears", "stop", "region", "none", "", "L"),
    ("radiotherapy_here", "stop", "region", "none", "", "M"),
    ("front_of_neck", "stop", "region", "none", "", "M"),
    ("fracture_suspected", "stop", "region", "today", "a doctor or an emergency department", "C"),
    ("hot_joint", "stop", "region", "today", "a doctor", "M"),
    ("unassessed_injury", "stop", "region", "soon", "a licensed clinician", "C"),
    ("oil_or_lotion", "prepare", "region", "none", "", "P"),
    ("damp_skin", "prepare", "region", "none", "", "P"),
    ("recent_exercise", "prepare", "region", "none", "", "P"),
    ("hair_in_way", "prepare", "region", "none", "", "G"),
    ("dirty_skin", "prepare", "region", "none", "", "P"),
    ("shaved", "prepare", "region", "none", "", "C"),
    ("waxed", "prepare", "region", "none", "", "C"),
    ("peeled", "prepare", "region", "none", "", "C"),
    ("tape_here", "prepare", "region", "none", "", "P"),
    ("mild_reaction_tape", "caution", "person", "none", "", "P"),
    ("mild_reaction_plaster", "caution", "person", "none", "", "P"),
    ("reaction_nail_gel", "caution", "person", "none", "", "M"),
    ("reaction_sensor_glue", "caution", "person", "none", "", "M"),
    ("latex_allergy", "caution", "person", "none", "", "C"),
    ("diabetes", "caution", "person", "none", "", "L"),
    ("blood_thinner", "caution", "person", "none", "", "M"),
    ("bleeding_disorder", "caution", "person", "none", "", "C"),
    ("long_term_steroids", "caution", "person", "none", "", "N"),
    ("pregnancy", "caution", "person", "none", "", "L"),
    ("child", "caution", "person", "none", "", "N"),
    ("unwell", "caution", "person", "none", "", "C"),
    ("feverish", "caution", "person", "none", "", "C"),
    ("cannot_report", "caution", "person", "none", "", "L"),
    ("fragile_skin", "caution", "region", "none", "", "L"),
    ("reduced_feeling", "caution", "region", "none", "", "L"),
    ("poor_circulation", "caution", "region", "none", "", "C"),
    ("retinoid", "caution", "region", "none", "", "M"),
    ("steroid_cream", "caution", "region", "none", "", "M"),
    ("medicine_patch", "caution", "region", "none", "", "C"),
    ("pump", "caution", "region", "none", "", "C"),
    ("sensor", "caution", "region", "none", "", "C"),
    ("stoma", "caution", "region", "none", "", "C"),
    ("dressing", "caution", "region", "none", "", "C"),
    ("painful_touch", "caution", "region", "none", "", "C"),
]
SOURCES = {
    "L": "contraindication lists",
    "P": "practitioners' pages",
    "G": "WHO global guidelines",
    "N": "nursing journal page",
    "M": "from memory",
    "C": "common practice, no source",
}
# What a clinician would look for first in the advice; from the same lists.
ADVICE = [
    ("consent_missing", "parent or guardian"),
    ("clot_suspected", "call the emergency number now"),
    ("clot_known", "only once the doctor has cleared it"),
    ("cancer_not_agreed", "only with its agreement"),
    ("lymph_nodes_not_agreed", "only with its agreement"),
    ("adhesive_allergy", "no patch test here"),
    ("earlier_blistering", "no patch test here"),
    ("earlier_spreading", "no patch test here"),
    ("earlier_general", "no patch test here"),
    ("front_of_neck", "the airway and the carotid sinus"),
    ("hot_joint", "can be infected"),
    ("oil_or_lotion", "alcohol wipe"),
    ("damp_skin", "No heat."),
    ("recent_exercise", "until the sweating has stopped"),
    ("shaved", "three days"),
    ("waxed", "three days"),
    ("peeled", "three days"),
    ("tape_here", "does not begin the skin's days anew"),
    ("mild_reaction_tape", "may do a patch test"),
    ("mild_reaction_plaster", "may do a patch test"),
    ("reaction_nail_gel", "acrylates"),
    ("reaction_sensor_glue", "acrylates"),
    ("diabetes", "places of insulin"),
    ("blood_thinner", "at the clinic or by a helper"),
    ("bleeding_disorder", "at the clinic or by a helper"),
    ("long_term_steroids", "at the clinic or by a helper"),
    ("fragile_skin", "no stretch at the ends"),
    ("reduced_feeling", "will not notice a blister"),
    ("poor_circulation", "Never encircle"),
    ("child", "one to three days"),
    ("cannot_report", "one to three days"),
    ("medicine_patch", "do not warm"),
]


def test_the_table_lists_every_question_in_the_order_of_asking() -> None:
    assert [row[0] for row in TABLE] == [question.key for question in QUESTIONS]


@pytest.mark.parametrize(("key", "weight", "about", "urgency", "who", "source"), TABLE, ids=[row[0] for row in TABLE])
def test_a_question_against_the_lists(key: str, weight: str, about: str, urgency: str, who: str, source: str) -> None:
    question = QUESTION_BY_KEY[key]
    assert (question.weight, question.about) == (weight, about)
    assert (question.urgency, question.who) == (urgency, who)
    assert SOURCES[source] in question.source


@pytest.mark.parametrize(("key", "words"), ADVICE, ids=[row[0] for row in ADVICE])
def test_the_advice_against_the_lists(key: str, words: str) -> None:
    assert words in QUESTION_BY_KEY[key].advice


# Whole screens, as a therapist meets them: what was answered otherwise than no, the goal, what it comes to and the
# questions that made it, gravest first. Weights from the lists above; the persons are invented.
STORIES = [
    ("a healthy runner with nothing to find", {}, "ease_muscle", "clear", ""),
    (
        "straight from the gym",
        {"recent_exercise": "yes", "damp_skin": "yes"},
        None,
        "prepare_first",
        "damp_skin recent_exercise",
    ),
    ("the same, dried off", {"recent_exercise": "sorted_out", "damp_skin": "sorted_out"}, None, "clear", ""),
    (
        "dried off, but still oily",
        {"damp_skin": "sorted_out", "oil_or_lotion": "yes"},
        None,
        "prepare_first",
        "oil_or_lotion",
    ),
    (
        "seventy-eight, on a blood thinner",
        {"blood_thinner": "yes", "fragile_skin": "yes"},
        None,
        "clear_with_care",
        "blood_thinner fragile_skin",
    ),
    (
        "the same, and a plaster took skin with it",
        {"blood_thinner": "yes", "skin_tears": "yes"},
        None,
        "do_not_tape",
        "skin_tears blood_thinner",
    ),
    (
        "a child whose parent is not here",
        {"child": "yes", "consent_missing": "yes"},
        None,
        "do_not_tape",
        "consent_missing child",
    ),
    ("a child whose parent agreed", {"child": "yes"}, None, "clear_with_care", "child"),
    ("a calf swollen since yesterday", {"clot_suspected": "yes"}, "move_swelling", "do_not_tape", "clot_suspected"),
    ("nobody can say whether it is a clot", {"clot_suspected": "not_known"}, None, "unfinished", "clot_suspected"),
    ("a weak heart and swollen ankles", {"heart_failure": "yes"}, "move_swelling", "do_not_tape", "heart_failure"),
    ("a weak heart and a stiff neck", {"heart_failure": "yes"}, "ease_muscle", "clear", ""),
    ("a weak heart, goal not chosen yet", {"heart_failure": "yes"}, None, "do_not_tape", "heart_failure"),
    ("failing kidneys, not known, tape for pain", {"kidney_failure": "not_known"}, "ease_pain", "clear", ""),
    (
        "failing kidneys, not known, tape for swelling",
        {"kidney_failure": "not_known"},
        "move_swelling",
        "unfinished",
        "kidney_failure",
    ),
    ("an itch after an earlier tape", {"mild_reaction_tape": "yes"}, None, "clear_with_care", "mild_reaction_tape"),
    (
        "an itch, and once a blister",
        {"mild_reaction_tape": "yes", "earlier_blistering": "yes"},
        None,
        "do_not_tape",
        "earlier_blistering mild_reaction_tape",
    ),
    ("does not know about latex", {"latex_allergy": "not_known"}, None, "clear_with_care", "latex_allergy"),
    ("a pump not asked about yet", {"pump": None}, None, "unfinished", "pump"),
    ("a pump not asked about, and a rash", {"pump": None, "rash": "yes"}, None, "do_not_tape", "rash"),
    (
        "hairy legs and an unknown earlier reaction",
        {"hair_in_way": "yes", "earlier_spreading": "not_known"},
        None,
        "unfinished",
        "earlier_spreading hair_in_way",
    ),
    ("shaved yesterday, pregnant", {"shaved": "yes", "pregnancy": "yes"}, None, "prepare_first", "shaved pregnancy"),
    (
        "a hot knee and a fever",
        {"hot_joint": "yes", "feverish": "yes"},
        "steady_joint",
        "do_not_tape",
        "hot_joint feverish",
    ),
    (
        "two stops and one unknown stop",
        {"rash": "yes", "open_wound": "yes", "hot_joint": "not_known"},
        None,
        "do_not_tape",
        "open_wound rash hot_joint",
    ),
]


@pytest.mark.parametrize(("story", "answers", "goal", "outcome", "found"), STORIES, ids=[row[0] for row in STORIES])
def test_a_story_against_the_lists(
    story: str, answers: dict[str, str | None], goal: str | None, outcome: str, found: str
) -> None:
    given = {key: None if answer is None else Answer(answer) for key, answer in answers.items()}
    verdict = judge({question.key: Answer.NO for question in QUESTIONS} | given, goal=goal)
    assert verdict.outcome is Outcome(outcome), story
    assert [reason.question for reason in verdict.reasons] == found.split(), story
