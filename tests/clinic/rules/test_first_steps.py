"""What a new clinic has to set."""

from dataclasses import replace

import pytest

from clinic.rules.first_steps import Facts, first_steps

NOTHING = Facts("Our clinic", "", "", "", "", False, False, 1, False, False, False)
ALL = Facts(
    "Harbour Lane Clinic", "(212) 555-0100", "911", "Call (212) 555-0101.", "duty@example.org",
    has_hours=True, has_therapist=True, managers=2, has_measured_roll=True, sends_mail=True, sends_texts=True,
)  # fmt: skip


def left(facts: Facts, *, required: bool) -> list[str]:
    return [step.key for step in first_steps(facts) if not step.done and step.required is required]


def test_a_clinic_nobody_set_up() -> None:
    assert left(NOTHING, required=True) == [
        "name", "telephone", "emergency_number", "out_of_hours_advice", "hours", "therapist",
    ]  # fmt: skip
    assert left(NOTHING, required=False) == ["duty_address", "roll", "mail", "texts", "second_manager"]


def test_a_clinic_that_is_set_up() -> None:
    assert (left(ALL, required=True), left(ALL, required=False)) == ([], [])


@pytest.mark.parametrize(
    ("lost", "key"),
    [
        ({"name": ""}, "name"),
        ({"emergency_number": ""}, "emergency_number"),
        ({"has_therapist": False}, "therapist"),
        ({"managers": 1}, "second_manager"),
    ],
)
def test_each_is_missed_by_itself(lost: dict[str, object], key: str) -> None:
    facts = replace(ALL, **lost)  # type: ignore[arg-type]
    assert left(facts, required=True) + left(facts, required=False) == [key]


def test_each_says_why() -> None:
    assert all(step.why.endswith(".") for step in first_steps(NOTHING))
