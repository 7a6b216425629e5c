"""On which side of the limb a strip begins and ends, against where Gray's Anatomy (1918) lets its muscle begin and end.

Pages as in places.toml; peroneus longus, vastus medialis and adductors from the same work's section on the leg, from
memory. Outer is away from the body's middle line with the palm forward: the thumb's side of the forearm.
"""

import pytest

from taping.rules.pictures import SIZE, body_for, start_first
from taping.rules.places import PLACES, Side

OUTER_IS_LEFT = {
    "knee_front": True,
    "shin_front": True,
    "forearm_back": False,
    "forearm_palm": True,
    "calf_back": False,
}
"""Of the right limb: where the picture's outer side is."""

# Place, side of its upper end, side of its lower end; a dash where the muscle begins or ends near the limb's middle.
ENDS = [
    ("ecrl", "outer", "outer"),  # lateral ridge of the humerus; second metacarpal
    ("ecrb", "outer", "-"),  # lateral epicondyle; third metacarpal
    ("ecu", "outer", "inner"),  # lateral epicondyle; fifth metacarpal
    ("wrist_flexors", "inner", "-"),  # medial epicondyle
    ("thumb_tendons", "-", "outer"),  # first metacarpal
    ("tibialis_anterior", "outer", "inner"),  # lateral condyle of the tibia; first metatarsal, inner side
    ("peroneus_longus", "outer", "outer"),  # head of the fibula; behind the outer ankle
    ("soleus_achilles", "-", "-"),  # calcaneus
]


def side_of(x: float, body: str) -> str:
    """ "outer" or "inner" where x is off the limb's middle by a twentieth of the picture, else "-"."""
    off = SIZE / 2 - x if OUTER_IS_LEFT[body] else x - SIZE / 2
    return "outer" if off >= SIZE / 40 else "inner" if off <= -SIZE / 40 else "-"


@pytest.mark.parametrize(("key", "upper", "lower"), ENDS)
def test_a_strip_lies_on_the_side_of_its_muscle(key: str, upper: str, lower: str) -> None:
    place = PLACES[key]
    line, body = start_first(place, Side.RIGHT), body_for(place, Side.RIGHT).key
    assert (side_of(line[0][0], body), side_of(line[-1][0], body)) == (upper, lower)


@pytest.mark.parametrize(
    ("outer", "inner"),
    [("hamstrings_outer", "hamstrings_inner"), ("quadriceps", "vastus_medialis"), ("quadriceps", "adductors")],
)
def test_of_two_strips_on_one_thigh_the_outer_one_lies_outside(outer: str, inner: str) -> None:
    """Biceps femoris outside, semitendinosus and semimembranosus inside; vastus medialis and adductors inside."""
    one, other = (PLACES[key] for key in (outer, inner))
    assert body_for(one, Side.RIGHT) == body_for(other, Side.RIGHT)
    sign = 1 if body_for(one, Side.RIGHT).key == "thigh_back" else -1
    for index in (0, -1):
        assert sign * (start_first(one, Side.RIGHT)[index][0] - start_first(other, Side.RIGHT)[index][0]) > 0
