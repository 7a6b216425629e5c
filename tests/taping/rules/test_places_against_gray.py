"""Attachments against Henry Gray, Anatomy of the Human Body, 20th edition, 1918, page by page."""

import pytest

from taping.rules.places import PLACES, End, place_of

# Each row: the page, what the page names at the origin, and at the insertion, in its own terms of anatomy.
ROWS: list[tuple[str, str, list[str], list[str]]] = [
    ("upper_trapezius", "432", ["external occipital protuberance", "ligamentum nuchae"], ["clavicle", "outer third"]),
    ("lower_trapezius", "432", ["all chest vertebrae"], ["acromion", "spine of the scapula"]),
    ("levator_scapulae", "435", ["transverse processes", "first four neck"], ["vertebral border", "medial angle"]),
    ("deltoid", "440", ["clavicle", "acromion", "spine of the scapula"], ["deltoid prominence", "half way", "humerus"]),
    ("supraspinatus", "441", ["supraspinatous fossa"], ["greater tubercle", "highest"]),
    ("infraspinatus", "441", ["infraspinatous fossa", "axillary border"], ["greater tubercle", "middle and lowest"]),
    ("ecrl", "452", ["lateral supracondylar ridge", "lower third"], ["second metacarpal"]),
    ("ecrb", "452", ["lateral epicondyle"], ["third metacarpal"]),
    ("ecu", "454", ["lateral epicondyle", "dorsal border of the ulna"], ["fifth metacarpal"]),
    ("gluteus_medius", "475", ["outer side of the hip bone", "ilium"], ["greater trochanter"]),
    ("quadriceps", "471", ["anterior inferior iliac spine", "femur"], ["patella", "tuberosity of the tibia"]),
    ("vastus_medialis", "471", ["linea aspera"], ["medial border of the patella"]),
    ("patellar_tendon", "256", ["apex of the patella"], ["tuberosity of the tibia"]),
    ("soleus_achilles", "483", ["head of the outer shin bone", "popliteal line"], ["calcaneus", "back of the heel"]),
    ("peroneus_brevis", "487", ["lower two thirds", "fibula"], ["fifth metatarsal"]),
    ("plantar_fascia", "490", ["medial process of the tuberosity of the calcaneus"], ["five slips"]),
    ("erector_spinae", "399", ["sacrum", "iliac crest", "T11"], ["ribs and vertebrae"]),
]
IDS = [row[0] for row in ROWS]


@pytest.mark.parametrize(("key", "page", "origin", "insertion"), ROWS, ids=IDS)
def test_attachments_against_gray_1918(key: str, page: str, origin: list[str], insertion: list[str]) -> None:
    place = place_of(key)

    assert [term for term in origin if term not in place.origin] == []
    assert [term for term in insertion if term not in place.insertion] == []


@pytest.mark.parametrize(("key", "page"), [row[:2] for row in ROWS], ids=IDS)
def test_the_page_is_named_against_gray_1918(key: str, page: str) -> None:
    assert "Gray 1918" in place_of(key).source
    assert page in place_of(key).source


# Page 483: about 15 cm long, narrowest about 4 cm above its insertion.
def test_the_heel_tendon_against_gray_1918() -> None:
    assert place_of("soleus_achilles").care == "The tendon is about 15 cm long and narrowest about 4 cm above the heel."


# The rows above from Gray; sternocleidomastoid, latissimus, multifidus, pectoralis and rectus abdominis from memory.
def test_of_these_the_origin_is_the_lower_end_and_of_all_others_the_upper() -> None:
    assert [key for key, place in PLACES.items() if place.origin_at is End.LOWER] == [
        "sternocleidomastoid",
        "lower_trapezius",
        "latissimus",
        "erector_spinae",
        "multifidus",
        "infraspinatus",
        "pectoralis_major",
        "rectus_abdominis",
    ]


def test_entries_without_a_page_say_where_they_come_from() -> None:
    elsewhere = {place.source for place in PLACES.values() if "Gray 1918" not in place.source}

    assert elsewhere == {
        "a published anatomy page",
        "a published anatomy page; details from memory",
        "from memory",
    }
