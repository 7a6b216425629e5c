"""Regions, muscles and tendons: what they are called, and which way tape along them comes off."""

from collections import Counter

import pytest

from taping.rules import places
from taping.rules.places import (
    PLACES,
    REGIONS,
    REMOVAL_CHECK,
    Axis,
    End,
    Hair,
    Landmarks,
    Part,
    Place,
    Region,
    Side,
    UnknownPlaceError,
    UnknownRegionError,
    UnknownSideError,
    View,
    place_of,
    places_in,
    region_of,
    region_words,
    removal_sentence,
    removal_start,
)
from taping.rules.toml_data import DataError

EVERYWHERE: list[Region | Place] = [*REGIONS.values(), *PLACES.values()]
MARKS = Landmarks(upper="elbow", lower="hand", hair=Hair.UP, hair_note="", hair_source="from memory")


def with_hair(hair: Hair) -> Place:
    marks = Landmarks("hip", "knee", hair, "", "from memory")
    return Place("x", region_of("hip"), "muscle", "", "", "", "", End.UPPER, marks, "", "")


# The region keys that other parts of the program and checks from outside rely on.
@pytest.mark.parametrize(
    "key",
    [
        "neck",
        "shoulder",
        "upper_back",
        "lower_back",
        "elbow",
        "forearm",
        "wrist",
        "hip",
        "thigh_front",
        "thigh_back",
        "knee",
        "calf",
        "ankle",
        "foot",
    ],
)
def test_the_regions_relied_on_are_there(key: str) -> None:
    assert region_of(key).key == key


def test_there_are_thirty_muscles_and_tendons_and_more() -> None:
    assert len(PLACES) >= 30


def test_each_region_is_found_under_its_own_key() -> None:
    assert [region.key for region in REGIONS.values()] == list(REGIONS)
    assert [place.key for place in PLACES.values()] == list(PLACES)


@pytest.mark.parametrize("where", EVERYWHERE, ids=lambda where: where.key)
def test_every_entry_names_its_landmarks_and_sources(where: Region | Place) -> None:
    marks = where.landmarks

    assert marks.upper != marks.lower
    assert where.source
    assert marks.hair_source


@pytest.mark.parametrize("where", EVERYWHERE, ids=lambda where: where.key)
def test_hair_without_one_direction_is_explained(where: Region | Place) -> None:
    assert where.landmarks.hair is not Hair.NONE or where.landmarks.hair_note


@pytest.mark.parametrize("place", PLACES.values(), ids=lambda place: place.key)
def test_every_muscle_has_both_names_and_both_attachments(place: Place) -> None:
    assert place.plain
    assert place.clinical
    assert place.origin != place.insertion
    assert place.kind in {"muscle", "tendon", "ligament", "fascia"}


@pytest.mark.parametrize("region", REGIONS.values(), ids=lambda region: region.key)
def test_limbs_have_two_sides_and_the_trunk_a_middle(region: Region) -> None:
    sides = (Side.LEFT, Side.RIGHT)

    assert region.sides == (sides if region.part is Part.LIMB else (*sides, Side.MIDLINE))


def test_every_region_can_be_drawn() -> None:
    views = Counter(region.view for region in REGIONS.values())

    assert set(views) == set(View)
    assert [region.key for region in REGIONS.values() if region.axis is Axis.ACROSS] == ["foot"]


def test_the_neck_warns_of_its_front() -> None:
    assert region_of("neck").care == "Never the front of the neck."
    assert place_of("sternocleidomastoid").care == "Keep to the side: never the front of the neck."
    assert region_of("knee").care == ""


@pytest.mark.parametrize("bad", ["Knee", "", "kneecap", None, 3, ["knee"]])
def test_an_unknown_region_is_refused_with_those_there_are(bad: str) -> None:
    with pytest.raises(UnknownRegionError) as refused:
        region_of(bad)
    assert str(refused.value) == f"{bad!r} is not a region; choose one of {', '.join(REGIONS)}"


@pytest.mark.parametrize("bad", ["Deltoid", "", None, ["deltoid"]])
def test_an_unknown_muscle_is_refused_with_those_there_are(bad: str) -> None:
    with pytest.raises(UnknownPlaceError) as refused:
        place_of(bad)
    assert str(refused.value) == f"{bad!r} is not a place; choose one of {', '.join(PLACES)}"


def test_the_muscles_of_a_region_are_listed_in_order() -> None:
    assert [place.key for place in places_in("calf")] == ["gastrocnemius", "soleus_achilles"]
    assert places_in("elbow") == ()
    with pytest.raises(UnknownRegionError):
        places_in("tail")


def test_every_muscle_lies_in_one_region() -> None:
    listed = [place for region in REGIONS for place in places_in(region)]

    assert sorted(place.key for place in listed) == sorted(PLACES)


@pytest.mark.parametrize(
    ("region", "side", "said"),
    [
        ("knee", "left", "left knee"),
        ("knee", Side.RIGHT, "right knee"),
        ("lower_back", "midline", "lower back"),
        ("lower_back", "right", "right lower back"),
        ("thigh_front", "left", "front of the left thigh"),
        ("thigh_back", "right", "back of the right thigh"),
        ("neck", "left", "left side of the neck"),
        ("neck", "midline", "neck"),
    ],
)
def test_a_region_is_said_with_its_side(region: str, side: str, said: str) -> None:
    assert region_words(region, side) == said


def test_a_side_a_region_does_not_have_is_refused() -> None:
    with pytest.raises(UnknownSideError, match="knee has no side 'midline'; choose one of left, right"):
        region_words("knee", "midline")
    with pytest.raises(UnknownSideError, match="neck has no side 'up'; choose one of left, right, midline"):
        region_words("neck", "up")
    with pytest.raises(UnknownRegionError):
        region_words("tail", "left")


# General public pages: on the legs hair lies from knee to foot, on the arms from elbow to hand.
@pytest.mark.parametrize("key", ["forearm", "wrist", "shin", "calf", "ankle"])
def test_hair_on_lower_limbs_against_published_pages(key: str) -> None:
    assert region_of(key).landmarks.hair is Hair.DOWN
    assert removal_start(region_of(key)) is End.UPPER
    assert "public pages" in region_of(key).landmarks.hair_source


def test_tape_comes_off_the_way_the_hair_lies() -> None:
    assert removal_sentence(with_hair(Hair.DOWN)) == "Start at the end nearer your hip and go down towards the knee."
    assert removal_sentence(with_hair(Hair.UP)) == "Start at the end nearer your knee and go up towards the hip."
    assert [removal_start(with_hair(hair)) for hair in Hair] == [End.UPPER, End.LOWER, None]


def test_where_hair_has_no_direction_the_skin_decides() -> None:
    assert removal_sentence(with_hair(Hair.NONE)) == (
        "Between your hip and your knee the hair has no one direction along the tape: "
        "stroke the skin both ways, and start at the end from which it feels smoother, or at either if there is "
        "no difference."
    )


def test_the_sentence_of_a_real_muscle_and_of_a_region() -> None:
    assert removal_sentence(place_of("quadriceps")) == "Start at the end nearer your hip and go down towards the knee."
    assert removal_sentence(region_of("calf")) == "Start at the end nearer your knee and go down towards the heel."


# Common practice, no source: stroke the skin, the smooth way is the way to go.
def test_every_removal_comes_with_a_check_on_the_skin_itself() -> None:
    assert REMOVAL_CHECK == "Stroke the skin first: the way that feels smooth is the way to go."


def test_the_sole_has_no_hair_to_follow() -> None:
    assert place_of("plantar_fascia").landmarks.hair_note == "the sole has no hair at all"
    assert removal_start(place_of("plantar_fascia")) is None


def test_the_ends_of_a_strip_mirror_each_other() -> None:
    assert (End.UPPER.other, End.LOWER.other) == (End.LOWER, End.UPPER)
    assert (MARKS.at(End.UPPER), MARKS.at(End.LOWER)) == ("elbow", "hand")


def test_a_key_used_twice_stops_the_program() -> None:
    with pytest.raises(DataError, match=r"regions\.toml has a key twice"):
        places._by_key([region_of("knee"), region_of("knee")], "regions")
