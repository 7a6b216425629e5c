"""An application needs a fitting screen of the same day."""

from dataclasses import replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from taping.rules.clock import ClockError
from taping.rules.skin import Outcome
from taping.rules.skin_application import PERMITS, Permission, ScreenFacts, TapingFacts, application_allowed

NEW_YORK = ZoneInfo("America/New_York")
SCREEN = ScreenFacts("p1", "knee", "left", Outcome.CLEAR, datetime(2027, 3, 26, 14, 40, tzinfo=UTC))
TAPING = TapingFacts("p1", "knee", "left", datetime(2027, 3, 26, 15, 0, tzinfo=UTC))


def test_a_clear_screen_of_the_same_day_permits_the_tape() -> None:
    assert application_allowed(SCREEN, TAPING, NEW_YORK) == Permission(
        True, ("Screened on 2027-03-26: Nothing found in the answers; the therapist decides.",)
    )


@pytest.mark.parametrize(
    ("outcome", "allowed"),
    [
        ("clear", True),
        ("clear_with_care", True),
        ("prepare_first", False),
        ("unfinished", False),
        ("do_not_tape", False),
    ],
)
def test_only_clear_and_clear_with_care_permit_tape(outcome: str, allowed: bool) -> None:
    permission = application_allowed(replace(SCREEN, outcome=Outcome(outcome)), TAPING, NEW_YORK)
    assert permission.allowed is allowed
    assert permission.reasons[0].startswith("Screened on" if allowed else "The screen does not permit tape: ")


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"patient": "p2"}, "The skin screen is of another patient."),
        ({"region": "calf"}, "The screen is of the calf, the tape of the knee."),
        ({"side": "right"}, "The screen is of the right knee, the tape of the left knee."),
        ({"side": "inner"}, "The screen is of the knee, side inner, the tape of the left knee."),
        (
            {"made_at": datetime(2027, 3, 25, 15, 0, tzinfo=UTC)},
            "The screen is of 2027-03-25, the tape of 2027-03-26: screen again on the day.",
        ),
        ({"made_at": datetime(2027, 3, 26, 15, 0, 1, tzinfo=UTC)}, "The screen was made after the tape went on."),
        ({"outcome": Outcome.DO_NOT_TAPE}, "The screen does not permit tape: Do not tape."),
    ],
)
def test_a_screen_that_does_not_fit_is_refused_with_its_reason(change: dict[str, object], reason: str) -> None:
    assert application_allowed(replace(SCREEN, **change), TAPING, NEW_YORK) == Permission(False, (reason,))  # type: ignore[arg-type]


def test_what_permits_a_plan_is_what_permits_the_tape() -> None:
    # A plan begins by this set: with another one a therapist could cut strips that may never be laid.
    allowed = {one for one in Outcome if application_allowed(replace(SCREEN, outcome=one), TAPING, NEW_YORK).allowed}
    assert allowed == PERMITS


def test_every_reason_against_is_told() -> None:
    screen = ScreenFacts("p2", "calf", "right", Outcome.UNFINISHED, datetime(2027, 3, 27, 15, 0, tzinfo=UTC))
    assert len(application_allowed(screen, TAPING, NEW_YORK).reasons) == 6


def test_a_screen_of_the_same_instant_counts_as_before() -> None:
    assert application_allowed(replace(SCREEN, made_at=TAPING.applied_at), TAPING, NEW_YORK).allowed


def test_the_day_is_the_clinics_day() -> None:
    # 23:50 in New York on the 25th is the 26th in UTC.
    screen = replace(SCREEN, made_at=datetime(2027, 3, 26, 3, 50, tzinfo=UTC))
    taping = replace(TAPING, applied_at=datetime(2027, 3, 26, 4, 10, tzinfo=UTC))
    assert not application_allowed(screen, taping, NEW_YORK).allowed
    assert application_allowed(screen, taping, ZoneInfo("UTC")).allowed


@pytest.mark.parametrize(("screen_fold", "tape_fold", "allowed"), [(0, 1, True), (1, 0, False)])
def test_before_and_after_hold_in_the_hour_that_happens_twice(screen_fold: int, tape_fold: int, allowed: bool) -> None:
    # 1 November 2026 in New York, 01:40 and 01:20 (IANA tz database): the wall shows each twice.
    wall = {0: datetime(2026, 11, 1, 1, 40, tzinfo=NEW_YORK), 1: datetime(2026, 11, 1, 1, 20, tzinfo=NEW_YORK, fold=1)}
    screen, taping = replace(SCREEN, made_at=wall[screen_fold]), replace(TAPING, applied_at=wall[tape_fold])
    assert application_allowed(screen, taping, NEW_YORK).allowed is allowed


@pytest.mark.parametrize("which", ["screen", "tape"])
def test_a_naive_time_is_refused(which: str) -> None:
    naive = datetime(2027, 3, 26, 15, 0)
    screen = replace(SCREEN, made_at=naive) if which == "screen" else SCREEN
    taping = replace(TAPING, applied_at=naive) if which == "tape" else TAPING
    with pytest.raises(ClockError, match=f"The time of the {which} 2027-03-26T15:00:00 has no time zone"):
        application_allowed(screen, taping, NEW_YORK)


def test_an_outcome_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="'fine' is not a valid Outcome"):
        application_allowed(replace(SCREEN, outcome="fine"), TAPING, NEW_YORK)  # type: ignore[arg-type]
