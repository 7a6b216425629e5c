"""Whole reports, as patients send them, against published definitions and the clinic's order of help.

Times after removal: McNichol and others 2013, J WOCN 40(4), "30 minutes or more". Allergic timing, 24 to 96 hours:
from memory. The order "emergency first, tape second" and soaking over blisters: common practice, no source.
"""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from taping.rules.report import advise
from taping.rules.report_signs import SIGN_BY_KEY
from taping.rules.urgency import Urgency

KEYS = list(SIGN_BY_KEY)
FULL = ["no_new_tape", "watch_for_emergency"]

# What the patient says; signs; tape on; minutes since removal; urgency; injury possible; allergy possible.
REPORTS = [
    ("it itches a little on day two", "itching", True, None, "soon", False, False),
    ("it itches and burns", "itching burning", True, None, "soon", False, False),
    ("a pink edge around the tape", "redness", True, None, "soon", False, False),
    ("just peeled off, pink", "redness", False, 2, "watch", False, False),
    ("just peeled off, pink and itchy", "redness itching", False, 2, "watch", False, False),
    ("just peeled off, pink and burning", "redness burning", False, 2, "soon", False, False),
    ("one minute short of half an hour", "redness", False, 29, "watch", False, False),
    ("one second short of half an hour", "redness", False, 29 + 59 / 60, "watch", False, False),
    ("half an hour to the second", "redness", False, 30, "soon", True, False),
    ("one second past half an hour", "redness", False, 30 + 1 / 60, "soon", True, False),
    ("still pink in the evening", "redness", False, 8 * 60, "soon", True, False),
    ("still pink the day after", "redness", False, 26 * 60, "soon", True, False),
    ("still itchy after an hour, nothing to see", "itching", False, 60, "soon", False, False),
    ("a blister seen while peeling", "blister", False, 1, "today", False, False),
    ("a blister an hour later", "blister", False, 60, "today", True, False),
    ("a blister two days later", "blister", False, 48 * 60, "today", True, True),
    ("skin came off with the tape", "broken_skin", False, 0, "today", False, False),
    ("still raw the day after", "broken_skin", False, 25 * 60, "today", True, False),
    ("spots a day later to the minute", "rash", False, 24 * 60, "soon", True, True),
    ("spots a minute before a day", "rash", False, 24 * 60 - 1, "soon", True, False),
    ("spots three days later", "rash itching", False, 72 * 60, "soon", True, True),
    ("wheals all over", "hives", True, None, "today", False, False),
    ("wheals all over, lips swelling", "hives face_swelling", True, None, "emergency", False, False),
    ("wheals two days later", "hives", False, 48 * 60, "today", True, True),
    ("toes cold and blue", "cold_or_blue", True, None, "today", False, False),
    ("fingers tingle and are weak", "numbness weakness", True, None, "today", False, False),
    ("the calf is tight and hurts", "calf_pain", True, None, "today", False, False),
    ("the calf hurts and so does the chest", "calf_pain chest_pain", True, None, "emergency", False, False),
    ("the calf hurts, no breath", "calf_pain breathing", False, None, "emergency", False, False),
    ("pus under the edge", "fever_or_pus redness", True, None, "today", False, False),
    ("pus the day after removal", "fever_or_pus", False, 24 * 60, "today", True, False),
    ("it hurts more every hour", "rising_pain", True, None, "today", False, False),
    ("the foot swells below the tape", "limb_swelling", True, None, "today", False, False),
    ("pink, off since nobody knows when", "redness", False, None, "soon", False, False),
    ("feels faint after a shower", "faint", True, None, "emergency", False, False),
    ("pressed the button, ticked nothing", "", True, None, "today", False, False),
]


@pytest.mark.parametrize(
    ("story", "signs", "tape_on", "minutes", "urgency", "flags"),
    [(*row[:5], row[5:]) for row in REPORTS],
    ids=[row[0] for row in REPORTS],
)
def test_a_report_against_mcnichol_and_practice(
    story: str, signs: str, tape_on: bool, minutes: float | None, urgency: str, flags: tuple[bool, bool]
) -> None:
    advice = advise(signs.split(), tape_on, minutes)
    assert advice.urgency == urgency, story
    assert (advice.injury_possible, advice.allergy_possible) == flags, story
    assert len(advice.reasons) == max(1, len(signs.split())) + sum(flags)


# The help for every two signs at once follows from the help for each alone: a table of the whole is too long to read,
# so the order is checked instead.
ORDER = [
    *("call_emergency", "stroke", "adrenaline_pen", "tape_after_help", "tape_off_now", "soak", "tape_off"),
    *("do_not_rub", "seen_today", "call_us", *FULL),
]


@pytest.mark.parametrize("one", KEYS)
def test_help_for_two_signs_keeps_the_order_emergency_tape_visit(one: str) -> None:
    for other in KEYS:
        steps = [step.key for step in advise([one, other], True).steps]
        assert [key for key in ORDER if key in steps] == steps


@pytest.mark.parametrize("one", KEYS)
def test_help_for_two_signs_forgets_nothing_that_one_alone_brings(one: str) -> None:
    # What a graver sign takes the place of: a later visit, the ordinary way of taking off, the hint to watch.
    replaced = {"call_us", "seen_today", "tape_off", "watch_for_emergency"}
    for other in KEYS:
        both = {step.key for step in advise([one, other], True).steps}
        alone = {step.key for step in advise([one], True).steps}
        assert alone - replaced <= both


def test_the_order_of_ticking_makes_no_difference() -> None:
    for one, other in itertools.combinations(KEYS, 2):
        assert advise([one, other], True) == advise([other, one], True)


@settings(deadline=None)
@given(
    st.lists(st.sampled_from(KEYS), min_size=1, max_size=4),
    st.sampled_from(KEYS),
    st.one_of(st.none(), st.floats(0, 10_000)),
)
def test_one_more_sign_never_lowers_the_urgency(signs: list[str], more: str, minutes: float | None) -> None:
    few, many = advise(signs, False, minutes), advise([*signs, more], False, minutes)
    assert many.urgency.rank >= few.urgency.rank
    assert many.injury_possible >= few.injury_possible
    assert many.allergy_possible >= few.allergy_possible


@settings(deadline=None)
@given(st.lists(st.sampled_from(KEYS), min_size=1, max_size=4), st.floats(0, 10_000), st.floats(0, 10_000))
def test_what_stays_longer_is_never_less_urgent(signs: list[str], one: float, other: float) -> None:
    early, late = sorted((one, other))
    assert advise(signs, False, late).urgency.rank >= advise(signs, False, early).urgency.rank


@settings(deadline=None)
@given(st.lists(st.sampled_from(KEYS), max_size=4), st.booleans())
def test_nobody_is_told_that_nothing_needs_to_be_done(signs: list[str], tape_on: bool) -> None:
    advice = advise(signs, tape_on)
    assert advice.urgency is not Urgency.NONE
    assert "no_new_tape" in [step.key for step in advice.steps]
