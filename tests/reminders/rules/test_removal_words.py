"""The steps a patient reads. The steps and hair directions themselves are checked beside their data."""

import pytest

from reminders.rules.removal_words import rank_words, removal_lines, start_lines
from taping.rules.places import PLACES, REGIONS, removal_sentence
from taping.rules.removal import RAW_STEPS, USUAL_STEPS


def test_the_step_about_the_start_names_the_end_of_this_tape() -> None:
    lines = removal_lines("forearm", [""])
    where = [step.key for step in USUAL_STEPS].index("start")
    assert lines[where] == removal_sentence(REGIONS["forearm"])
    assert len(lines) == len(USUAL_STEPS)


@pytest.mark.parametrize("region", list(REGIONS))
def test_no_region_speaks_of_a_picture_that_is_not_there(region: str) -> None:
    assert [line for line in removal_lines(region, []) if "picture" in line] == []


@pytest.mark.parametrize("sign", ["blister", "broken_skin"])
def test_over_raw_skin_no_end_is_named_to_pull_from(sign: str) -> None:
    assert removal_lines("knee", [""], [sign]) == tuple(step.text for step in RAW_STEPS)


def test_two_strips_that_come_off_alike_are_said_once() -> None:
    assert start_lines("knee", ["", ""]) == (removal_sentence(REGIONS["knee"]),)


def test_strips_that_come_off_differently_are_said_from_the_top() -> None:
    one, other = _two_places_of_one_region()
    lines = start_lines("", [one, other])
    assert [line.partition(":")[0] for line in lines] == ["The strip on top", "The strip beneath"]
    assert lines[0].lower().endswith(removal_sentence(PLACES[one]).lower())


def test_a_region_nobody_knows_keeps_the_general_words() -> None:
    assert start_lines("tail", ["nowhere"]) == ()
    assert removal_lines("tail", ["nowhere"]) == tuple(step.text for step in USUAL_STEPS)


def _two_places_of_one_region() -> tuple[str, str]:
    for one, place in PLACES.items():
        for other, second in PLACES.items():
            if place.region is second.region and removal_sentence(place) != removal_sentence(second):
                return one, other
    raise AssertionError("the data hold no two such places")


@pytest.mark.parametrize(
    ("count", "ranks"),
    [(1, [""]), (2, ["The strip on top", "The strip beneath"]),
     (4, ["The strip on top", "The next strip", "The next strip", "The strip beneath"])],
)  # fmt: skip
def test_strips_are_called_by_their_order(count: int, ranks: list[str]) -> None:
    assert [rank_words(number, count) for number in range(count)] == ranks
