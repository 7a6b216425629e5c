"""What a therapist is told once the questions are answered."""

import itertools
from collections.abc import Mapping
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from taping.rules.skin import (
    GOALS,
    OUTCOME_TEXT,
    QUESTIONS,
    Answer,
    AnswerError,
    Finding,
    GoalError,
    Outcome,
    Question,
    Verdict,
    Weight,
    answer_none_of_these,
    by_weight,
    judge,
    needs_note,
    none_of_these_blocked_by,
    not_screened_for,
    questions_for,
)
from taping.rules.urgency import Urgency

ALL_NO: Mapping[str, Answer | None] = {question.key: Answer.NO for question in QUESTIONS}
BY_KEY = {question.key: question for question in QUESTIONS}
GROUPS = by_weight(QUESTIONS)


def verdict_of(**changes: Answer | None) -> Verdict:
    return judge({**ALL_NO, **changes})


def answers_to(question: Question) -> list[Answer | None]:
    prepare = [Answer.SORTED_OUT] if question.weight is Weight.PREPARE else []
    return [None, Answer.YES, Answer.NO, Answer.NOT_KNOWN, *prepare]


screens = st.fixed_dictionaries({question.key: st.sampled_from(answers_to(question)) for question in QUESTIONS})
sparse = st.dictionaries(st.sampled_from(sorted(BY_KEY)), st.sampled_from(list(Answer)[:3]), max_size=6).map(
    lambda few: {**ALL_NO, **few}
)


def test_no_to_everything_is_clear_and_leaves_the_decision_to_the_therapist() -> None:
    verdict = verdict_of()
    assert verdict == Verdict(Outcome.CLEAR, ())
    assert verdict.summary == "Nothing found in the answers; the therapist decides."
    assert (verdict.urgency, needs_note(verdict)) == (Urgency.NONE, False)


@pytest.mark.parametrize("question", GROUPS[Weight.STOP], ids=lambda question: question.key)
def test_a_stop_answered_yes_forbids_tape_and_says_what_to_do(question: Question) -> None:
    verdict = verdict_of(**{question.key: Answer.YES})
    assert verdict.outcome is Outcome.DO_NOT_TAPE
    (reason,) = verdict.reasons
    assert (reason.question, reason.text) == (question.key, f"Yes: {question.text}")
    assert (reason.advice, reason.urgency, reason.who) == (question.advice, question.urgency, question.who)
    assert (reason.weight, reason.finding, reason.answer) == (Weight.STOP, Finding.STOP, Answer.YES)


@pytest.mark.parametrize("question", GROUPS[Weight.PREPARE], ids=lambda question: question.key)
def test_a_thing_to_put_right_comes_first_until_it_is_sorted_out(question: Question) -> None:
    verdict = verdict_of(**{question.key: Answer.YES})
    assert verdict.outcome is Outcome.PREPARE_FIRST
    assert [(reason.question, reason.finding) for reason in verdict.reasons] == [(question.key, Finding.PREPARE)]
    assert verdict_of(**{question.key: Answer.SORTED_OUT}).outcome is Outcome.CLEAR


@pytest.mark.parametrize("question", GROUPS[Weight.CAUTION], ids=lambda question: question.key)
@pytest.mark.parametrize(
    ("answer", "says"), [(Answer.YES, "Yes: "), (Answer.NOT_KNOWN, "Not known, which counts as yes: ")]
)
def test_a_caution_answered_yes_or_not_known_asks_for_care(question: Question, answer: Answer, says: str) -> None:
    verdict = verdict_of(**{question.key: answer})
    assert (verdict.outcome, needs_note(verdict)) == (Outcome.CLEAR_WITH_CARE, True)
    (reason,) = verdict.reasons
    assert (reason.text, reason.advice) == (says + question.text, question.advice)
    assert (reason.finding, reason.answer) == (Finding.CAUTION, answer)


@pytest.mark.parametrize("question", [*GROUPS[Weight.STOP], *GROUPS[Weight.PREPARE]], ids=lambda q: q.key)
def test_a_grave_question_not_known_stays_open(question: Question) -> None:
    verdict = verdict_of(**{question.key: Answer.NOT_KNOWN})
    assert verdict.outcome is Outcome.UNFINISHED
    (reason,) = verdict.reasons
    assert reason.text == f"Not known: {question.text}"
    assert (reason.finding, reason.urgency, reason.who) == (Finding.OPEN, Urgency.NONE, "")


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.key)
@pytest.mark.parametrize("missing", [True, False], ids=["left out", "None"])
def test_an_unanswered_question_is_never_a_no(question: Question, missing: bool) -> None:
    answers = {**ALL_NO, question.key: None}
    if missing:
        del answers[question.key]
    verdict = judge(answers)
    assert verdict.outcome is Outcome.UNFINISHED
    assert [(reason.question, reason.finding) for reason in verdict.reasons] == [(question.key, Finding.OPEN)]
    assert verdict.reasons[0].text == f"Not answered yet: {question.text}"
    assert verdict.reasons[0].advice == "Answer it; an unanswered question is never a no."


def test_a_clot_that_nobody_can_rule_out_says_to_be_seen_today() -> None:
    (reason,) = verdict_of(clot_suspected=Answer.NOT_KNOWN).reasons
    assert reason.advice == (
        "Find out before taping. If it cannot be ruled out: Do not tape or massage. A doctor must see the patient "
        "today; with chest pain or trouble breathing call the emergency number now."
    )


def test_an_unknown_that_is_not_pressing_only_says_to_find_out() -> None:
    # Cancer is to be asked about soon, not today; oil on the skin has no urgency at all.
    for key in ("cancer_not_agreed", "oil_or_lotion"):
        assert verdict_of(**{key: Answer.NOT_KNOWN}).reasons[0].advice == "Find out before taping."


def test_an_empty_screen_lists_every_question_stops_first() -> None:
    verdict = judge({})
    assert verdict.outcome is Outcome.UNFINISHED
    assert [reason.question for reason in verdict.reasons] == [question.key for question in QUESTIONS]


def test_a_stop_counts_before_the_rest_is_answered_and_hides_what_is_not() -> None:
    verdict = judge(
        {"rash": Answer.YES, "diabetes": Answer.YES, "damp_skin": Answer.YES, "hot_joint": Answer.NOT_KNOWN}
    )
    assert verdict.outcome is Outcome.DO_NOT_TAPE
    assert [reason.question for reason in verdict.reasons] == ["rash", "hot_joint", "damp_skin", "diabetes"]


def test_what_is_open_comes_before_what_is_to_be_put_right_and_cautions() -> None:
    verdict = verdict_of(diabetes=Answer.YES, damp_skin=Answer.YES, pump=None)
    assert verdict.outcome is Outcome.UNFINISHED
    assert [reason.question for reason in verdict.reasons] == ["pump", "damp_skin", "diabetes"]


def test_a_reason_prints_as_it_stands() -> None:
    (reason,) = verdict_of(hot_joint=Answer.YES).reasons
    assert str(reason) == (
        "Yes: Is a joint here hot and swollen? Do not tape. A hot, swollen joint can be infected: "
        "a doctor must see it today. To be seen today: a doctor."
    )
    (calm,) = verdict_of(damp_skin=Answer.YES).reasons
    assert str(calm) == "Yes: Is the skin here damp? Pat it dry and wait until it stays dry. No heat."


def test_the_verdict_is_as_urgent_as_its_gravest_reason() -> None:
    assert verdict_of(hot_joint=Answer.YES, unassessed_injury=Answer.YES).urgency is Urgency.TODAY
    assert verdict_of(unassessed_injury=Answer.YES).urgency is Urgency.SOON


@pytest.mark.parametrize("key", ["heart_failure", "kidney_failure"])
@pytest.mark.parametrize(
    ("goal", "outcome"),
    [(None, "do_not_tape"), ("move_swelling", "do_not_tape"), *((goal, "clear") for goal in GOALS[:4])],
)
def test_heart_and_kidney_failure_stop_only_the_moving_of_swelling(key: str, goal: str | None, outcome: str) -> None:
    assert judge({**ALL_NO, key: Answer.YES}, goal=goal).outcome == outcome


def test_a_question_left_out_by_the_goal_needs_no_answer() -> None:
    answers = {key: answer for key, answer in ALL_NO.items() if key != "heart_failure"}
    assert judge(answers, goal="ease_pain").outcome is Outcome.CLEAR
    assert judge(answers, goal="move_swelling").outcome is Outcome.UNFINISHED
    assert judge(answers).outcome is Outcome.UNFINISHED


def test_a_screen_for_one_goal_leaves_the_stops_of_another_to_be_asked() -> None:
    def more(screened_for: str | None, goal: str | None, **given: Answer) -> list[str]:
        found = not_screened_for({**ALL_NO, **given}, screened_for=screened_for, goal=goal)
        return [question.key for question in found]

    assert more("ease_pain", "move_swelling", heart_failure=Answer.YES) == ["heart_failure"]
    assert more("ease_pain", "move_swelling", kidney_failure=Answer.NOT_KNOWN) == ["kidney_failure"]
    assert more("ease_pain", "move_swelling") == []
    assert more("ease_pain", "steady_joint", heart_failure=Answer.YES) == []
    assert more("move_swelling", "move_swelling", heart_failure=Answer.YES) == []
    assert more(None, "move_swelling", heart_failure=Answer.YES) == []
    found = not_screened_for({}, screened_for="ease_pain", goal=None)
    assert [question.key for question in found] == ["heart_failure", "kidney_failure"]


@pytest.mark.parametrize("goal", ["", "swelling", "MOVE_SWELLING", 3, ["ease_pain"]])
def test_an_unknown_goal_is_refused_with_the_known_ones(goal: object) -> None:
    with pytest.raises(GoalError, match="is not a goal; choose one of ease_muscle, support_muscle, steady_joint"):
        judge(ALL_NO, goal=goal)  # type: ignore[arg-type]


def test_answers_may_come_as_the_words_they_are_stored_in() -> None:
    words = {question.key: "no" for question in QUESTIONS} | {"rash": "yes"}
    verdict = judge(words)  # type: ignore[arg-type]
    assert verdict == verdict_of(rash=Answer.YES)
    assert verdict.reasons[0].answer is Answer.YES


@pytest.mark.parametrize("answer", ["YES", "Yes", "y", "", True, False, 0, 1, ["yes"], float("nan")])
def test_an_answer_that_is_no_answer_is_refused(answer: object) -> None:
    with pytest.raises(AnswerError, match="is not an answer to 'rash'; it takes yes, no, not_known, or None"):
        judge({**ALL_NO, "rash": answer})  # type: ignore[dict-item]


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.key)
def test_sorted_out_belongs_to_things_to_put_right_only(question: Question) -> None:
    if question.weight is Weight.PREPARE:
        assert verdict_of(**{question.key: Answer.SORTED_OUT}).outcome is Outcome.CLEAR
    else:
        with pytest.raises(
            AnswerError, match=f"<Answer.SORTED_OUT: 'sorted_out'> is not an answer to '{question.key}'"
        ):
            verdict_of(**{question.key: Answer.SORTED_OUT})


@pytest.mark.parametrize("key", ["wound", "RASH", "", None, 7])
def test_a_question_that_the_screen_lacks_is_refused(key: object) -> None:
    with pytest.raises(AnswerError, match="is not a question of the skin screen"):
        judge({**ALL_NO, key: Answer.NO})  # type: ignore[dict-item]


def test_a_bad_answer_is_refused_even_where_the_goal_leaves_the_question_out() -> None:
    with pytest.raises(AnswerError, match="'maybe' is not an answer to 'heart_failure'"):
        judge({**ALL_NO, "heart_failure": "maybe"}, goal="ease_pain")  # type: ignore[dict-item]


def test_judging_leaves_the_answers_as_they_are() -> None:
    answers = {**ALL_NO, "rash": None}
    judge(answers)
    assert answers == {**ALL_NO, "rash": None}


def expected(answers: Mapping[str, Answer | None]) -> Outcome:
    """The rules again, written as sentences over sets instead of as a table."""
    said = {weight: [answers[question.key] for question in GROUPS[weight]] for weight in Weight}
    if Answer.YES in said[Weight.STOP]:
        return Outcome.DO_NOT_TAPE
    grave = said[Weight.STOP] + said[Weight.PREPARE]
    if None in answers.values() or Answer.NOT_KNOWN in grave:
        return Outcome.UNFINISHED
    if Answer.YES in said[Weight.PREPARE]:
        return Outcome.PREPARE_FIRST
    cautious = {Answer.YES, Answer.NOT_KNOWN} & set(said[Weight.CAUTION])
    return Outcome.CLEAR_WITH_CARE if cautious else Outcome.CLEAR


@settings(deadline=None)
@given(st.one_of(screens, sparse))
def test_any_screen_comes_to_what_the_sentences_say(answers: Mapping[str, Answer | None]) -> None:
    assert judge(answers).outcome is expected(answers)


def test_every_pair_of_answers_comes_to_what_the_sentences_say() -> None:
    picks = [GROUPS[weight][place] for weight in Weight for place in (0, -1)]
    for one, two in itertools.combinations(picks, 2):
        for first, second in itertools.product(answers_to(one), answers_to(two)):
            answers = {**ALL_NO, one.key: first, two.key: second}
            assert judge(answers).outcome is expected(answers), (one.key, first, two.key, second)


@settings(deadline=None)
@given(screens, st.sampled_from([None, *GOALS]))
def test_reasons_go_from_grave_to_light_and_only_clear_has_none(
    answers: Mapping[str, Answer | None], goal: str | None
) -> None:
    verdict = judge(answers, goal=goal)
    order = [list(Finding).index(reason.finding) for reason in verdict.reasons]
    assert order == sorted(order)
    assert (verdict.outcome is Outcome.CLEAR) == (not verdict.reasons)
    assert needs_note(verdict) == (verdict.outcome is Outcome.CLEAR_WITH_CARE)
    assert {reason.question for reason in verdict.reasons} <= {question.key for question in questions_for(goal)}


def test_every_outcome_has_its_words() -> None:
    assert OUTCOME_TEXT[Outcome.DO_NOT_TAPE] == "Do not tape."
    assert [outcome.value for outcome in OUTCOME_TEXT] == [
        "unfinished",
        "do_not_tape",
        "prepare_first",
        "clear_with_care",
        "clear",
    ]


GRAVE = {question.key: Answer.NO for question in QUESTIONS if question.weight is not Weight.CAUTION}


def test_none_of_these_fills_the_cautions_and_only_them() -> None:
    filled = answer_none_of_these({**GRAVE, "diabetes": Answer.YES, "pump": None})
    assert filled == {**ALL_NO, "diabetes": Answer.YES}
    assert judge(filled).outcome is Outcome.CLEAR_WITH_CARE


def test_none_of_these_answers_no_question_that_the_goal_leaves_out() -> None:
    grave = {key: answer for key, answer in GRAVE.items() if key not in ("heart_failure", "kidney_failure")}
    filled = answer_none_of_these(grave, goal="ease_pain")
    assert set(ALL_NO) - set(filled) == {"heart_failure", "kidney_failure"}
    assert [q.key for q in none_of_these_blocked_by(grave)] == ["heart_failure", "kidney_failure"]


@pytest.mark.parametrize("key", sorted(GRAVE))
def test_none_of_these_waits_for_every_stop_and_preparation(key: str) -> None:
    answers = {**GRAVE, key: None}
    assert none_of_these_blocked_by(answers) == (BY_KEY[key],)
    with pytest.raises(AnswerError, match=f"first answer '{key}'"):
        answer_none_of_these(answers)


def test_not_known_is_an_answer_and_does_not_hold_none_of_these_up() -> None:
    assert none_of_these_blocked_by({**GRAVE, "rash": Answer.NOT_KNOWN}) == ()


def test_none_of_these_refuses_what_the_screen_does_not_have() -> None:
    with pytest.raises(AnswerError, match="'wound' is not a question"):
        none_of_these_blocked_by({"wound": Answer.NO})


@pytest.mark.parametrize("answers", [None, "yes", [("rash", "yes")]])
def test_a_screen_without_questions_is_refused(answers: Any) -> None:
    with pytest.raises(AnswerError, match=r"^the answers are .*; give each question's key with its answer$"):
        judge(answers)
