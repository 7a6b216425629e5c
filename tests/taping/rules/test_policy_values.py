"""What a rule returned stays as it was returned: a record of a decision must not change afterwards."""

from dataclasses import FrozenInstanceError, fields, is_dataclass
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from taping.rules.policy import BOUNDS, Policy
from taping.rules.removal import REMOVAL_QUESTIONS, USUAL_STEPS, remover_allowed
from taping.rules.report import SIGNS, advise
from taping.rules.skin import QUESTIONS, Outcome, judge
from taping.rules.skin_application import ScreenFacts, TapingFacts, application_allowed
from taping.rules.skin_grades import PATCH_READINGS
from taping.rules.skin_patch import patch_test_allowed
from taping.rules.wear import removal_options, suggest_shorter, wear_window
from taping.rules.wear_state import WornTape

NOON = datetime(2027, 3, 26, 12, tzinfo=UTC)
WINDOW = wear_window(NOON, ZoneInfo("UTC"))
SCREEN = ScreenFacts("p1", "knee", "left", Outcome.CLEAR, NOON)
TAPING = TapingFacts("p1", "knee", "left", NOON)
VALUES: list[object] = [
    Policy(),
    Policy.problems({"first_day": 9})[0],
    BOUNDS["first_day"],
    WINDOW,
    removal_options(WINDOW, lambda _: True),
    suggest_shorter(caution=True, child=False),
    WornTape(NOON, 20, WINDOW, date(2027, 3, 31)),
    QUESTIONS[0],
    judge({}),
    judge({}).reasons[0],
    SCREEN,
    TAPING,
    application_allowed(SCREEN, TAPING, ZoneInfo("UTC")),
    patch_test_allowed({}),
    PATCH_READINGS[0],
    SIGNS[0],
    advise(["rash"], True),
    USUAL_STEPS[0],
    REMOVAL_QUESTIONS[0],
    remover_allowed({}),
]


@pytest.mark.parametrize("value", VALUES, ids=lambda value: type(value).__name__)
def test_a_decision_and_its_facts_cannot_be_changed(value: object) -> None:
    assert is_dataclass(value)
    for field in fields(value):
        with pytest.raises(FrozenInstanceError):
            setattr(value, field.name, None)
