"""The pictures' data fit the regions and places, and their words say what the removal sentence says."""

import pytest

from taping.rules.pictures import (
    BODIES,
    COURSES,
    body_for,
    courses_from,
    drawn_as,
    mirrored,
    removal_pictures,
    start_first,
    where_of,
)
from taping.rules.places import PLACES, REGIONS, End, Hair, Side, UnknownSideError, removal_sentence
from taping.rules.toml_data import DataError


def test_every_region_and_place_has_its_picture_and_no_other_has() -> None:
    assert set(COURSES) == set(REGIONS) | set(PLACES)


def test_no_region_and_place_share_a_key() -> None:
    assert not set(REGIONS) & set(PLACES)


def test_every_outline_is_used_and_names_its_source() -> None:
    assert {course.body.key for course in COURSES.values()} == set(BODIES)
    assert all(body.source for body in BODIES.values())


def test_regions_with_a_middle_line_have_a_course_on_it() -> None:
    with_middle = {key for key, region in REGIONS.items() if Side.MIDLINE in region.sides}
    assert {key for key in REGIONS if COURSES[key].middle} == with_middle
    assert all(x == 100 for key in with_middle for x, _ in COURSES[key].middle)


def test_the_three_sentences_of_the_knee() -> None:
    assert [one.text for one in removal_pictures(REGIONS["knee"], Side.LEFT)] == [
        "Start at the end nearer your thigh.",
        "Go down towards the shin: fold the tape back on itself and go low and slow, close to the skin. Never rip.",
        "Press the skin down with the flat of the other hand just behind the edge, and let the hand follow it.",
    ]


def test_what_is_told_of_the_pictures_names_side_and_view() -> None:
    first, second, third = removal_pictures(REGIONS["knee"], Side.LEFT)
    assert first.told == "Left knee, from the front. The end of the tape nearer the thigh is marked: start."
    assert second.told == "Left knee, from the front. An arrow along the tape, from the thigh down to the shin."
    assert "folded back towards the shin" in third.told


@pytest.mark.parametrize("where", [*REGIONS.values(), *PLACES.values()], ids=lambda where: where.key)
def test_words_and_removal_sentence_name_the_same_ends(where: object) -> None:
    found = where_of(getattr(where, "key", ""))
    assert found is not None
    side = Side.RIGHT
    first, second, _ = removal_pictures(found, side)
    sentence = removal_sentence(found)
    if found.landmarks.hair is Hair.NONE:
        assert first.text.startswith("Stroke the skin along the tape, both ways")
        assert "stroke the skin both ways" in sentence
        assert "both ways" in second.told
        return
    start = first.text.removeprefix("Start at the end nearer your ").removesuffix(".")
    way = second.text.partition(":")[0].removeprefix("Go ")
    assert sentence == f"Start at the end nearer your {start} and go {way}."


def test_the_line_begins_where_the_tape_is_lifted_first(monkeypatch: pytest.MonkeyPatch) -> None:
    knee = REGIONS["knee"]
    assert start_first(knee, Side.RIGHT) == COURSES["knee"].line
    monkeypatch.setattr("taping.rules.pictures.removal_start", lambda where: End.LOWER)
    assert start_first(knee, Side.RIGHT) == COURSES["knee"].line[::-1]


def test_up_is_said_where_the_hair_lies_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("taping.rules.pictures.removal_start", lambda where: End.LOWER)
    first, second, _ = removal_pictures(REGIONS["knee"], Side.RIGHT)
    assert first.text == "Start at the end nearer your shin."
    assert second.text.startswith("Go up towards the thigh: ")


def test_left_is_mirrored_and_the_middle_is_not() -> None:
    back = REGIONS["lower_back"]
    assert start_first(back, Side.LEFT) == mirrored(start_first(back, Side.RIGHT))
    assert start_first(back, Side.MIDLINE) == COURSES["lower_back"].middle


def test_on_the_middle_line_picture_and_words_are_the_regions() -> None:
    muscle, neck = PLACES["sternocleidomastoid"], REGIONS["neck"]
    assert body_for(muscle, Side.RIGHT).key == "head_side"
    assert body_for(muscle, Side.MIDLINE).key == "neck_back"
    assert start_first(muscle, Side.MIDLINE) == start_first(neck, Side.MIDLINE)
    assert removal_pictures(muscle, Side.MIDLINE) == removal_pictures(neck, Side.MIDLINE)
    assert removal_pictures(muscle, Side.RIGHT) != removal_pictures(neck, Side.RIGHT)
    assert (drawn_as(muscle, Side.MIDLINE), drawn_as(muscle, Side.RIGHT)) == (neck, muscle)
    assert drawn_as(neck, Side.MIDLINE) is neck


def test_an_outline_can_be_another_ones_mirror_image() -> None:
    assert BODIES["arm_back"].outlines == tuple(mirrored(line) for line in BODIES["arm_front"].outlines)
    assert BODIES["front"].outlines == BODIES["back"].outlines


def test_a_side_that_is_not_there_is_refused() -> None:
    with pytest.raises(UnknownSideError):
        removal_pictures(REGIONS["knee"], Side.MIDLINE)


def test_what_neither_region_nor_place_is_called_is_nothing() -> None:
    assert where_of("elsewhere") is None


@pytest.mark.parametrize("keys", [["elsewhere"], ["knee", "knee"]])
def test_data_that_fit_nothing_are_refused(keys: list[str]) -> None:
    rows = [{"where": key, "body": "knee_front", "line": [[1, 2], [3, 4]], "source": "none"} for key in keys]
    with pytest.raises(DataError):
        courses_from(rows, BODIES)
