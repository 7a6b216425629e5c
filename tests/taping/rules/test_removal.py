"""Who takes the tape off, and how."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from taping.rules.removal import (
    RAW_SIGNS,
    RAW_STEPS,
    REMOVAL_QUESTIONS,
    USUAL_STEPS,
    WORN_CARE,
    RemovalQuestion,
    Remover,
    is_raw,
    removal_answers_from,
    removal_question_from,
    removal_steps,
    remover_allowed,
)
from taping.rules.report_signs import SIGNS, SignError
from taping.rules.skin import QUESTIONS, Answer, AnswerError
from taping.rules.toml_data import DataError

ALL_NO = {question.key: Answer.NO for question in REMOVAL_QUESTIONS}
SCREEN_NO = {question.key: Answer.NO for question in QUESTIONS}
ALL_STEPS = [*USUAL_STEPS, *RAW_STEPS, *WORN_CARE]
each = pytest.mark.parametrize("question", REMOVAL_QUESTIONS, ids=lambda question: question.key)


def test_no_to_everything_lets_the_patient_do_it_at_home() -> None:
    decision = remover_allowed(ALL_NO)
    assert (decision.who, decision.allowed) == (Remover.HOME, (Remover.HOME, Remover.CLINIC))
    assert decision.reasons == ("Nothing found in the answers against taking it off at home; the therapist decides.",)


def test_with_a_helper_the_patient_may_still_do_it_alone() -> None:
    decision = remover_allowed(ALL_NO, helper_ready=True)
    assert (decision.who, decision.allowed) == ("home", ("home", "helper", "clinic"))


@each
def test_any_yes_takes_it_out_of_the_patients_hands(question: RemovalQuestion) -> None:
    answers = {**ALL_NO, question.key: Answer.YES}
    alone, helped = remover_allowed(answers), remover_allowed(answers, helper_ready=True)
    assert (alone.who, alone.allowed) == ("clinic", ("clinic",))
    assert (helped.who, helped.allowed) == ("helper", ("helper", "clinic"))
    assert alone.reasons == (
        f"Not by the patient: {question.because}.",
        "No named adult can see, reach and feel the tape: the clinic takes it off.",
    )
    assert helped.reasons == (
        f"Not by the patient: {question.because}.",
        "A named adult can see, reach and feel the tape: the helper or the clinic takes it off.",
    )


@each
@pytest.mark.parametrize(("answer", "state"), [(None, "not answered"), (Answer.NOT_KNOWN, "not known")])
def test_what_nobody_knows_counts_as_yes(question: RemovalQuestion, answer: Answer | None, state: str) -> None:
    decision = remover_allowed({**ALL_NO, question.key: answer})
    assert decision.who is Remover.CLINIC
    assert decision.reasons[0] == f"Not by the patient while this is {state}: {question.text}"


def test_without_any_answer_every_question_is_told() -> None:
    decision = remover_allowed({})
    assert (decision.who, len(decision.reasons)) == (Remover.CLINIC, len(REMOVAL_QUESTIONS) + 1)


def test_answers_may_come_as_the_words_they_are_stored_in() -> None:
    assert remover_allowed(dict.fromkeys(ALL_NO, "no")).who is Remover.HOME  # type: ignore[arg-type]


@settings(deadline=None)
@given(st.fixed_dictionaries({key: st.sampled_from([None, *list(Answer)[:3]]) for key in ALL_NO}), st.booleans())
def test_home_needs_a_no_to_every_question(answers: dict[str, Answer | None], helper: bool) -> None:
    decision = remover_allowed(answers, helper_ready=helper)
    assert (Remover.HOME in decision.allowed) == (set(answers.values()) == {Answer.NO})
    assert (Remover.HELPER in decision.allowed) == helper
    assert decision.allowed[-1] is Remover.CLINIC
    assert decision.who is decision.allowed[0]


@pytest.mark.parametrize("answer", ["sorted_out", "NO", "", False, 0, ["no"]])
def test_an_answer_that_is_no_answer_is_refused(answer: object) -> None:
    with pytest.raises(AnswerError, match="is not an answer to 'child'; it takes yes, no, not_known, or None"):
        remover_allowed({**ALL_NO, "child": answer})  # type: ignore[dict-item]


def test_an_unknown_question_is_refused() -> None:
    with pytest.raises(AnswerError, match="'old' is not a question about removal; there are cannot_see, cannot_reach"):
        remover_allowed({**ALL_NO, "old": Answer.NO})


def test_what_is_asked_about_removal() -> None:
    assert list(ALL_NO) == [
        *("cannot_see", "cannot_reach", "cannot_feel", "child", "torn_skin", "thin_skin", "blood_thinner"),
        *("long_term_steroids", "reduced_feeling", "poor_sight", "poor_hands", "poor_memory", "earlier_injury"),
    ]


def test_risks_of_removal_against_the_nursing_page() -> None:
    # Nursing journal page: newborns, old age and corticosteroids raise the risk of adhesive skin injury.
    sources = {question.key: question.source for question in REMOVAL_QUESTIONS}
    assert {key for key, source in sources.items() if "nursing journal page" in source} == {
        *("child", "thin_skin", "long_term_steroids"),
    }


def test_the_skin_screen_answers_what_it_has_asked_already() -> None:
    known = ["child", "torn_skin", "thin_skin", "blood_thinner", "long_term_steroids", "reduced_feeling"]
    assert removal_answers_from(SCREEN_NO) == dict.fromkeys(known, Answer.NO)
    assert removal_answers_from({}) == dict.fromkeys(known, None)


@pytest.mark.parametrize("answer", ["yes", "not_known"])
@pytest.mark.parametrize(
    ("screen", "removal"),
    [
        ("child", "child"),
        ("skin_tears", "torn_skin"),
        ("fragile_skin", "thin_skin"),
        ("blood_thinner", "blood_thinner"),
        ("bleeding_disorder", "blood_thinner"),
        ("long_term_steroids", "long_term_steroids"),
        ("reduced_feeling", "reduced_feeling"),
    ],
)
def test_a_risk_found_by_the_screen_is_a_yes_here(screen: str, removal: str, answer: str) -> None:
    answers = removal_answers_from({**SCREEN_NO, screen: Answer(answer)})
    assert [key for key, found in answers.items() if found is Answer.YES] == [removal]


def test_half_an_answer_of_the_screen_stays_open() -> None:
    answers = removal_answers_from({**SCREEN_NO, "bleeding_disorder": None})
    assert answers["blood_thinner"] is None


@pytest.mark.parametrize(
    ("signs", "steps"),
    [
        ((), USUAL_STEPS),
        (("itching", "redness"), USUAL_STEPS),
        (("blister",), RAW_STEPS),
        (["itching", "broken_skin"], RAW_STEPS),
    ],
)
def test_raw_skin_has_steps_of_its_own(signs: tuple[str, ...], steps: object) -> None:
    assert removal_steps(signs) == steps


def test_the_usual_steps_in_order_against_the_surgical_nursing_page() -> None:
    # A surgical-nursing page 2018: oil at the edge, along the hair, low angle, slowly, rolled back, never rip.
    assert [step.key for step in USUAL_STEPS] == [
        *("sit", "loosen", "top_first", "start", "way", "low_and_slow", "hold_skin", "stop_if_hurt", "look_again"),
    ]
    text = {step.key: step.text for step in USUAL_STEPS}
    assert "low and slow" in text["low_and_slow"]
    assert text["low_and_slow"].endswith("Never rip.")
    assert "smooth is the way to go" in text["way"]


def test_the_last_step_against_mcnichol() -> None:
    # McNichol and others 2013: a change still there 30 minutes or more after removal counts.
    assert USUAL_STEPS[-1].text.startswith("Wash the oil off. Look again after 30 minutes")


def test_the_removal_words_keep_the_patient_from_falls_fire_and_allergy() -> None:
    text = " ".join(step.text for step in USUAL_STEPS)
    for words in ("Never do it in the bath or shower", "away from flames", "No nut oil, no solvent", "5 to 10 minutes"):
        assert words in text


def test_over_raw_skin_nobody_is_told_to_use_oil_or_to_pull() -> None:
    assert [step.key for step in RAW_STEPS] == ["no_pulling", "soak", "lift_loose", "call"]
    text = " ".join(step.text for step in RAW_STEPS).lower()
    assert "oil" not in text.replace("soak", "").replace("soil", "")
    assert text.startswith("do not pull over the sore place, and put nothing greasy on it.")
    assert "lukewarm water" in text


def test_wet_tape_and_loose_edges_against_practitioners_pages() -> None:
    # Practitioners' pages: pat dry. They allow a dryer on low; these words are stricter, since heat acts on adhesive.
    assert [step.text for step in WORN_CARE] == [
        "Wet tape: pat it dry. No hair-dryer, heat pad or sauna.",
        "A loose edge: trim it. Do not pull it or press it back.",
    ]


@pytest.mark.parametrize("step", ALL_STEPS, ids=lambda step: step.key)
def test_every_step_says_where_it_comes_from_and_never_red_alone(step: Any) -> None:
    assert len(step.source) > 10
    assert " red" not in step.text.replace("redder, darker or purple compared with the skin around it", "")


ROW: dict[str, Any] = {"key": "k", "text": "t", "because": "b", "source": "s"}


def test_a_plain_entry_is_not_answered_by_the_screen() -> None:
    assert removal_question_from(ROW) == RemovalQuestion("k", "t", "b", "s", ())


@pytest.mark.parametrize("field", list(ROW))
def test_an_entry_without_one_of_its_fields_is_refused(field: str) -> None:
    with pytest.raises(DataError, match=f"needs a text for '{field}'"):
        removal_question_from({name: value for name, value in ROW.items() if name != field})


def test_an_entry_may_name_every_question_of_the_screen() -> None:
    everything = [question.key for question in QUESTIONS]
    assert removal_question_from({**ROW, "screen": everything}).screen == tuple(everything)


def test_an_entry_that_names_a_question_the_screen_lacks_is_refused() -> None:
    with pytest.raises(
        DataError, match=r"removal question 'k' names \('child', 'wound'\), which the skin screen lacks"
    ):
        removal_question_from({**ROW, "screen": ["child", "wound"]})


@pytest.mark.parametrize("signs", ["blister", ["blisters"], [None]])
def test_a_sign_nobody_knows_never_brings_oil(signs: Any) -> None:
    """The usual steps would put oil on what may be a blister under another name."""
    with pytest.raises(SignError, match=r"(blister|None)"):
        removal_steps(signs)


def test_of_all_signs_only_a_blister_and_raw_skin_keep_oil_away() -> None:
    assert {sign.key for sign in SIGNS if is_raw([sign.key])} == RAW_SIGNS
    assert not is_raw([])


@pytest.mark.parametrize("answers", [{"child": "maybe"}, {"child": Answer.SORTED_OUT}, {"nothing": Answer.NO}, None])
def test_answers_that_the_screen_could_not_have_are_not_taken_over(answers: Any) -> None:
    with pytest.raises(AnswerError):
        removal_answers_from(answers)
