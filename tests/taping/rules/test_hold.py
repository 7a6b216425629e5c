"""What a patient reads of a screen that holds the tape back."""

from typing import Any

import pytest

from taping.rules.hold import HOLD_WORDS, WHO, Held, held, hold_words_from, seen_by
from taping.rules.skin import QUESTIONS, Answer, Outcome, Reason, Weight, judge
from taping.rules.toml_data import DataError

ROWS = [{"key": key, "what": words.what, "advice": words.advice} for key, words in HOLD_WORDS.items()]


def recorded(reason: Reason) -> dict[str, Any]:
    """The reason as a screen keeps it."""
    return {
        "question": reason.question,
        "text": reason.text,
        "advice": reason.advice,
        "urgency": reason.urgency.value,
        "who": reason.who,
        "finding": reason.finding.value,
    }


def rows_of(answers: dict[str, Answer]) -> list[dict[str, Any]]:
    every: dict[str, Answer] = {question.key: Answer.NO for question in QUESTIONS}
    return [recorded(reason) for reason in judge(every | answers).reasons]


def test_a_stop_is_said_by_what_was_found_and_what_to_do_now() -> None:
    assert held(rows_of({"open_wound": Answer.YES})) == (
        Held("An open wound here.", "No tape here until it is closed. Have the wound cared for."),
    )


def test_what_is_not_known_is_said_so_and_keeps_what_it_could_mean() -> None:
    rows = rows_of({"rash": Answer.YES, "clot_suspected": Answer.NOT_KNOWN, "open_wound": Answer.NOT_KNOWN})
    assert held(rows)[1:] == (
        Held(
            "Not known: a possible blood clot in a deep vein.",
            "To be found out before taping. If it cannot be ruled out: No tape and no massage. A doctor must see you "
            "today. With chest pain or trouble breathing call the emergency number now.",
        ),
        Held("Not known: an open wound here.", "To be found out before taping."),
    )


def test_a_caution_holds_nothing_and_is_for_the_therapist() -> None:
    rows = rows_of({"rash": Answer.YES, "diabetes": Answer.YES, "pregnancy": Answer.NOT_KNOWN})
    assert [one.what for one in held(rows)] == ["A rash here."]


def test_what_is_put_right_first_is_said_too() -> None:
    assert judge({"damp_skin": Answer.YES} | no_to_all_but("damp_skin")).outcome is Outcome.PREPARE_FIRST
    assert held(rows_of({"damp_skin": Answer.YES})) == (
        Held("Damp skin here.", "Pat it dry and wait until it stays dry. No heat."),
    )


def no_to_all_but(key: str) -> dict[str, Answer]:
    return {question.key: Answer.NO for question in QUESTIONS if question.key != key}


@pytest.mark.parametrize("key", list(HOLD_WORDS))
def test_every_question_that_can_hold_has_its_words(key: str) -> None:
    (said,) = held(rows_of({key: Answer.YES}))
    assert said.what == f"{HOLD_WORDS[key].what[:1].upper()}{HOLD_WORDS[key].what[1:]}."
    assert said.advice == HOLD_WORDS[key].advice


@pytest.mark.parametrize("change", [{"text": "Yes: Is there a hole here?"}, {"advice": "Wait."}, {"question": "gone"}])
def test_a_reason_recorded_in_other_words_is_read_as_it_was_recorded(change: dict[str, str]) -> None:
    row = rows_of({"open_wound": Answer.YES})[0] | change
    assert held([row]) == (Held(row["text"], row["advice"]),)


def test_who_must_see_the_patient_and_how_soon_each_once() -> None:
    rows = rows_of(dict.fromkeys(("hot_joint", "infection", "earlier_general", "rash"), Answer.YES))
    assert seen_by(rows) == ("To be seen today: a doctor.", "To be asked soon: an allergist.")
    assert seen_by([rows[-1] | {"urgency": "emergency", "who": "a doctor"}]) == ("To be seen now: a doctor.",)


def test_everybody_who_may_be_named_is_known_to_the_catalogues() -> None:
    assert set(WHO) == {question.who for question in QUESTIONS if question.who}


@pytest.mark.parametrize("key", [one.key for one in QUESTIONS if one.urgency.value == "today"])
def test_what_is_urgent_to_the_therapist_is_urgent_to_the_patient(key: str) -> None:
    assert "today" in HOLD_WORDS[key].advice


@pytest.mark.parametrize("key", [one.key for one in QUESTIONS if "emergency number" in one.advice])
def test_an_emergency_in_the_advice_is_in_the_patients_words(key: str) -> None:
    assert "chest pain or trouble breathing call the emergency number now" in HOLD_WORDS[key].advice


def test_a_question_without_words_and_words_without_a_question_are_refused() -> None:
    with pytest.raises(DataError, match="differ in open_wound"):
        hold_words_from(row for row in ROWS if row["key"] != "open_wound")
    caution = next(question.key for question in QUESTIONS if question.weight is Weight.CAUTION)
    with pytest.raises(DataError, match=f"differ in {caution}"):
        hold_words_from([*ROWS, {"key": caution, "what": "it", "advice": "Wait."}])


@pytest.mark.parametrize("field", ["key", "what", "advice"])
def test_an_entry_without_one_of_its_texts_is_refused(field: str) -> None:
    with pytest.raises(DataError, match=f"needs a text for '{field}'"):
        hold_words_from([{name: value for name, value in ROWS[0].items() if name != field}])


def test_what_was_found_can_stand_inside_a_sentence() -> None:
    assert [one.what for one in HOLD_WORDS.values() if one.what[0].isupper() or one.what.endswith(".")] == []


def test_no_words_call_skin_red_alone() -> None:
    assert [one for one in HOLD_WORDS.values() if " red " in f" {one.what} {one.advice} "] == []
