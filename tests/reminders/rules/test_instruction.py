"""What the patient reads first. The sentences are common practice, no source; who may be told what is checked whole."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from reminders.rules.instruction import TapeNow, comes_off_words, first_key, instruction
from reminders.rules.own_words import common_in
from reminders.rules.texts import PAGE, TEXTS, edit_key
from taping.rules.removal import Remover
from taping.rules.wear_state import TapeState

ZONE = ZoneInfo("America/New_York")
APPLIED = datetime(2027, 3, 10, 15, 0, tzinfo=UTC)  # 10:00 in New York
TAPE = TapeNow(
    state=TapeState.SETTING,
    now=APPLIED,
    zone=ZONE,
    adhesion_ends_at=APPLIED + timedelta(minutes=20),
    water_ends_at=APPLIED + timedelta(minutes=60),
    removal_day=date(2027, 3, 15),
    remover=Remover.HOME,
)
VISIT = datetime(2027, 3, 15, 14, 30, tzinfo=UTC)  # 10:30 in New York, after the clocks went forward


def at(state: TapeState, **changes: object) -> TapeNow:
    return replace(TAPE, state=state, **changes)  # type: ignore[arg-type]


def heading(tape: TapeNow) -> str:
    return instruction(tape).heading


def whole(tape: TapeNow) -> str:
    said = instruction(tape)
    return " ".join((said.heading, *said.lines))


def test_while_it_sets_the_patient_rests_until_the_clock_says() -> None:
    said = instruction(TAPE)
    assert said.heading == "Rest until 10:20."
    assert said.lines[1:3] == (
        "Easy movement from 10:20, only as your therapist told you.",
        "Sweat, shower and swimming from 11:00.",
    )


def test_between_the_waits_it_is_kept_dry() -> None:
    assert heading(at(TapeState.ON, now=APPLIED + timedelta(minutes=20))) == "Keep the tape dry until 11:00."


def test_at_the_very_end_of_the_longer_wait_it_need_not_be_kept_dry_any_more() -> None:
    assert heading(at(TapeState.ON, now=APPLIED + timedelta(minutes=60))) == "Leave the tape on."


@pytest.mark.parametrize(
    ("remover", "visit_at", "expected"),
    [
        (Remover.HOME, None, "Take the tape off today."),
        (Remover.HELPER, None, "Your helper takes the tape off today."),
        (Remover.CLINIC, VISIT, "We take the tape off today at 10:30."),
        (Remover.CLINIC, None, "The tape comes off today. Please call us for a time."),
    ],
)
def test_the_removal_day_says_who_takes_it_off(remover: Remover, visit_at: datetime | None, expected: str) -> None:
    morning = datetime(2027, 3, 15, 12, 0, tzinfo=UTC)
    assert heading(at(TapeState.DUE, remover=remover, visit_at=visit_at, now=morning)) == expected


def test_a_removal_visit_that_is_over_is_not_announced_any_more() -> None:
    missed = at(TapeState.DUE, remover=Remover.CLINIC, visit_at=VISIT, now=VISIT)
    assert heading(missed) == "The tape comes off today. Please call us for a time."


@pytest.mark.parametrize(
    ("remover", "expected"),
    [
        (Remover.HOME, "Take the tape off now, slowly."),
        (Remover.HELPER, "Ask your helper to take the tape off today, or call us."),
        (Remover.CLINIC, "Please call us today: the tape has to come off."),
    ],
)
def test_overdue_tape_has_to_come_off_by_whoever_may(remover: Remover, expected: str) -> None:
    assert heading(at(TapeState.OVERDUE, remover=remover)) == expected


@pytest.mark.parametrize("remover", [Remover.HELPER, Remover.CLINIC])
@pytest.mark.parametrize("state", [TapeState.SETTING, TapeState.ON, TapeState.DUE, TapeState.OVERDUE])
@pytest.mark.parametrize("visit_at", [None, VISIT])
def test_nobody_else_is_told_to_take_it_off_alone(
    state: TapeState, remover: Remover, visit_at: datetime | None
) -> None:
    said = whole(at(state, remover=remover, visit_at=visit_at, now=APPLIED + timedelta(hours=2)))
    assert "Take the tape off" not in said
    assert "You take it off" not in said
    assert ("not take it off yourself" in said) or ("not take it off alone" in said)


@pytest.mark.parametrize("state", [TapeState.SETTING, TapeState.ON])
@pytest.mark.parametrize("remover", list(Remover))
def test_before_the_day_the_day_is_always_said(state: TapeState, remover: Remover) -> None:
    assert "Monday, 15 March" in whole(at(state, remover=remover, now=APPLIED + timedelta(hours=2)))


def test_the_helper_is_called_by_the_name_they_gave() -> None:
    words = comes_off_words(at(TapeState.ON, remover=Remover.HELPER, helper="Hal"))
    assert words == "It comes off on Monday, 15 March. Hal takes it off. Please do not take it off alone."


def test_a_tape_that_is_off_is_thanked_for_and_no_skin_is_called_fine() -> None:
    said = instruction(at(TapeState.OFF, ended_on=date(2027, 3, 14)))
    assert said.heading == "The tape is off. Thank you."
    assert said.lines[0] == "We noted Sunday, 14 March."
    assert "redder, darker or purple compared with the skin around it" in said.lines[1]


def test_clock_times_are_the_patients() -> None:
    assert heading(replace(TAPE, zone=ZoneInfo("Europe/Berlin"))) == "Rest until 16:20."


@pytest.mark.parametrize("field", ["now", "adhesion_ends_at", "water_ends_at"])
def test_a_time_without_a_zone_is_refused(field: str) -> None:
    naive = datetime(2027, 3, 10, 10, 0)  # the fault under test
    with pytest.raises(ValueError, match="time zone"):
        instruction(at(TapeState.ON, **{field: naive}))


EVERY_MOMENT = [
    at(state, now=now, remover=remover, visit_at=visit_at)
    for state in TapeState
    for now in (APPLIED, APPLIED + timedelta(minutes=30), VISIT - timedelta(hours=1), VISIT + timedelta(hours=1))
    for remover in Remover
    for visit_at in (None, VISIT)
]


def test_every_sentence_of_the_page_stands_first_at_some_moment_and_no_other_does() -> None:
    assert {first_key(tape) for tape in EVERY_MOMENT} == {key for key, text in TEXTS.items() if text.part == PAGE}


@pytest.mark.parametrize("tape", EVERY_MOMENT)
def test_a_clinics_own_words_stand_first_and_change_nothing_beneath(tape: TapeNow) -> None:
    key = first_key(tape)
    said = instruction(replace(tape, own={edit_key(key, 1): "Do as {clinic_name} told you."}, values=VALUES))
    programs = instruction(tape)
    assert said.heading == (programs.heading if TEXTS[key].locked else "Do as Harbour Lane told you.")
    assert said.lines == programs.lines


VALUES = {"clinic_name": "Harbour Lane", "telephone": "(212) 555-0100", "emergency": "911"}


def test_what_can_be_filled_in_is_what_the_manager_is_offered() -> None:
    own = {edit_key("aftercare.page.on", 1): " ".join(f"{{{name}}}" for name in common_in("aftercare"))}
    said = instruction(
        at(TapeState.ON, now=APPLIED + timedelta(hours=2), own=own, values=dict.fromkeys(common_in("aftercare"), "x"))
    )
    assert said.heading == "x x x x x"


def test_words_with_a_placeholder_that_nobody_knows_give_way_to_the_programs() -> None:
    own = {edit_key("aftercare.page.on", 1): "Leave it, {surname}."}
    assert heading(at(TapeState.ON, now=APPLIED + timedelta(hours=2), own=own)) == "Leave the tape on."


def test_overdue_tape_is_said_in_the_programs_words_alone() -> None:
    assert {key for key, text in TEXTS.items() if text.part == PAGE and text.locked} == {
        f"removal_overdue.page.{remover.value}" for remover in Remover
    }
