"""Patients as they leave the clinic: who takes the tape off, from the screen and the questions at handing over.

Risks: a nursing journal's page on adhesive injury (newborn, old age, corticosteroids); blood thinners from memory;
sight, reach, hands and memory: common practice, no source. The persons are invented.
"""

import pytest

from taping.rules.removal import REMOVAL_QUESTIONS, Remover, removal_answers_from, remover_allowed
from taping.rules.skin import QUESTIONS, Answer
from taping.rules.wear import suggest_shorter

# Who; screen answers that are yes; handing-over answers that are yes; a helper is ready; who takes it off.
PATIENTS = [
    ("a runner, own knee", "", "", False, "home"),
    ("a runner, own knee, with a flatmate", "", "", True, "home"),
    ("a runner, between the shoulder blades", "", "cannot_see cannot_reach", False, "clinic"),
    ("the same, with a partner", "", "cannot_see cannot_reach", True, "helper"),
    ("a child of nine with a parent", "child", "", True, "helper"),
    ("a child of nine, parent unsure", "child", "", False, "clinic"),
    ("seventy-eight, paper-thin skin, alone", "fragile_skin", "", False, "clinic"),
    ("seventy-eight, paper-thin skin, with a daughter", "fragile_skin", "", True, "helper"),
    ("on a blood thinner, alone", "blood_thinner", "", False, "clinic"),
    ("bleeds easily, with a husband", "bleeding_disorder", "", True, "helper"),
    ("years of steroids", "long_term_steroids", "", False, "clinic"),
    ("numb feet", "reduced_feeling", "cannot_feel", False, "clinic"),
    ("numb feet, with a nurse at home", "reduced_feeling", "cannot_feel", True, "helper"),
    ("stiff fingers", "", "poor_hands", False, "clinic"),
    ("sees poorly, with a neighbour", "", "poor_sight", True, "helper"),
    ("forgets what was said", "", "poor_memory", False, "clinic"),
    ("was hurt by a plaster once", "", "earlier_injury", False, "clinic"),
    ("diabetes, but feels and sees well", "diabetes", "", False, "home"),
    ("pregnant, forearm", "pregnancy", "", False, "home"),
]


@pytest.mark.parametrize(("who", "screen", "asked", "helper", "remover"), PATIENTS, ids=[row[0] for row in PATIENTS])
def test_who_takes_it_off_against_the_risks(who: str, screen: str, asked: str, helper: bool, remover: str) -> None:
    screen_answers = {question.key: Answer.NO for question in QUESTIONS} | dict.fromkeys(screen.split(), Answer.YES)
    answers: dict[str, Answer | None] = {question.key: Answer.NO for question in REMOVAL_QUESTIONS}
    answers |= removal_answers_from(screen_answers)
    answers |= dict.fromkeys(asked.split(), Answer.YES)
    decision = remover_allowed(answers, helper_ready=helper)
    assert decision.who is Remover(remover), who
    risks = [reason for reason in decision.reasons if reason.startswith("Not by the patient: ")]
    assert bool(risks) == (remover != "home")


def test_a_screen_alone_does_not_let_the_patient_do_it() -> None:
    # Sight, reach and feeling are asked at handing over; a screen without a finding leaves them open.
    from_screen = removal_answers_from({question.key: Answer.NO for question in QUESTIONS})
    decision = remover_allowed(from_screen)
    assert decision.who is Remover.CLINIC
    assert decision.reasons[0] == (
        "Not by the patient while this is not answered: Is the tape where the patient cannot see it?"
    )


def test_a_child_wears_tape_for_fewer_days_and_does_not_take_it_off() -> None:
    shorter = suggest_shorter(caution=False, child=True)
    assert shorter is not None
    assert (shorter.first_day, shorter.last_day) == (1, 3)
    answers = {question.key: Answer.NO for question in REMOVAL_QUESTIONS} | {"child": Answer.YES}
    assert Remover.HOME not in remover_allowed(answers, helper_ready=True).allowed
