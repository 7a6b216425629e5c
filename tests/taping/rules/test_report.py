"""What a patient is told to do now, and how soon somebody has to see it."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from taping.rules.removal import Remover
from taping.rules.report import INJURY_MINUTES, SIGNS, Advice, SignError, advise
from taping.rules.report_signs import ADVICE_STEPS, SIGN_BY_KEY, Sign
from taping.rules.urgency import Urgency

EMERGENCIES = ["breathing", "face_swelling", "faint", "chest_pain"]
KEYS = list(SIGN_BY_KEY)
several = st.lists(st.sampled_from(KEYS), min_size=1, max_size=5)


def steps_of(advice: Advice) -> list[str]:
    return [step.key for step in advice.steps]


@pytest.mark.parametrize(
    ("signs", "steps"),
    [
        (["breathing"], ["call_emergency", "adrenaline_pen", "tape_after_help", "no_new_tape"]),
        (["face_swelling"], ["call_emergency", "adrenaline_pen", "tape_after_help", "no_new_tape"]),
        (["faint"], ["call_emergency", "adrenaline_pen", "tape_after_help", "no_new_tape"]),
        (["chest_pain"], ["call_emergency", "tape_after_help", "no_new_tape"]),
        (["cold_or_blue"], ["tape_off_now", "seen_today", "no_new_tape", "watch_for_emergency"]),
        (["numbness"], ["tape_off_now", "seen_today", "no_new_tape", "watch_for_emergency"]),
        (["weakness"], ["stroke", "tape_off_now", "seen_today", "no_new_tape", "watch_for_emergency"]),
        (["limb_swelling"], ["tape_off_now", "do_not_rub", "seen_today", "no_new_tape", "watch_for_emergency"]),
        (["calf_pain"], ["tape_off", "do_not_rub", "seen_today", "no_new_tape", "watch_for_emergency"]),
        (["fever_or_pus"], ["tape_off", "seen_today", "no_new_tape", "watch_for_emergency"]),
        (["blister"], ["soak", "seen_today", "no_new_tape", "watch_for_emergency"]),
        (["broken_skin"], ["soak", "seen_today", "no_new_tape", "watch_for_emergency"]),
        (["hives"], ["tape_off", "seen_today", "no_new_tape", "watch_for_emergency"]),
        (["rising_pain"], ["tape_off", "seen_today", "no_new_tape", "watch_for_emergency"]),
        (["rash"], ["tape_off", "call_us", "no_new_tape", "watch_for_emergency"]),
        (["burning"], ["tape_off", "call_us", "no_new_tape", "watch_for_emergency"]),
        (["itching"], ["tape_off", "call_us", "no_new_tape", "watch_for_emergency"]),
        (["redness"], ["tape_off", "call_us", "no_new_tape", "watch_for_emergency"]),
        (["itching", "blister"], ["soak", "seen_today", "no_new_tape", "watch_for_emergency"]),
        (["blister", "cold_or_blue"], ["tape_off_now", "soak", "seen_today", "no_new_tape", "watch_for_emergency"]),
        (["blister", "breathing"], ["call_emergency", "adrenaline_pen", "tape_after_help", "soak", "no_new_tape"]),
    ],
)
def test_what_to_do_while_the_tape_is_on(signs: list[str], steps: list[str]) -> None:
    assert steps_of(advise(signs, True)) == steps


@pytest.mark.parametrize(
    ("signs", "steps"),
    [
        (["breathing"], ["call_emergency", "adrenaline_pen", "no_new_tape"]),
        (["cold_or_blue"], ["seen_today", "no_new_tape", "watch_for_emergency"]),
        (["calf_pain"], ["do_not_rub", "seen_today", "no_new_tape", "watch_for_emergency"]),
        (["rash"], ["call_us", "no_new_tape", "watch_for_emergency"]),
        (["redness"], ["call_us", "no_new_tape", "watch_for_emergency"]),
    ],
)
def test_nothing_is_said_about_a_tape_that_is_off(signs: list[str], steps: list[str]) -> None:
    assert steps_of(advise(signs, False)) == steps


URGENCIES = {
    **dict.fromkeys(EMERGENCIES, "emergency"),
    **dict.fromkeys(["cold_or_blue", "numbness", "weakness", "limb_swelling", "calf_pain", "fever_or_pus"], "today"),
    **dict.fromkeys(["blister", "broken_skin", "hives", "rising_pain"], "today"),
    **dict.fromkeys(["rash", "burning", "itching", "redness"], "soon"),
}


@pytest.mark.parametrize("key", KEYS)
@pytest.mark.parametrize("tape_on", [True, False])
def test_every_sign_has_its_urgency_whether_the_tape_is_on_or_off(key: str, tape_on: bool) -> None:
    advice = advise([key], tape_on)
    assert advice.urgency == URGENCIES[key]
    assert advice.reasons == (f"{SIGN_BY_KEY[key].words}: {SIGN_BY_KEY[key].why}",)


def test_the_signs_stand_from_grave_to_light() -> None:
    ranks = [sign.urgency.rank for sign in SIGNS]
    assert ranks == sorted(ranks, reverse=True)
    assert set(KEYS) == set(URGENCIES)


@settings(deadline=None)
@given(several, st.booleans())
def test_several_signs_are_as_urgent_as_the_gravest(signs: list[str], tape_on: bool) -> None:
    advice = advise(signs, tape_on)
    order = list(Urgency)
    assert advice.urgency == max((URGENCIES[key] for key in signs), key=lambda level: order.index(Urgency(level)))
    assert len(advice.reasons) == len(set(signs))


@settings(deadline=None)
@given(several, st.booleans(), st.sampled_from(list(Remover)))
def test_with_any_emergency_the_first_step_is_to_call_for_help(
    signs: list[str], tape_on: bool, remover: Remover
) -> None:
    steps = steps_of(advise(signs, tape_on, remover=remover))
    assert ("call_emergency" in steps) == bool(set(signs) & set(EMERGENCIES))
    assert "call_emergency" not in steps[1:]
    assert ("watch_for_emergency" in steps) != ("call_emergency" in steps)
    assert len(steps) == len(set(steps))


@settings(deadline=None)
@given(several, st.sampled_from(list(Remover)))
def test_over_a_blister_or_raw_skin_nobody_is_sent_to_the_oil(signs: list[str], remover: Remover) -> None:
    steps = steps_of(advise([*signs, "blister"], True, remover=remover))
    assert "soak" in steps
    assert not {"tape_off", "tape_off_by_us"} & set(steps)


@pytest.mark.parametrize("remover", ["helper", "clinic"])
def test_a_patient_who_may_not_do_it_is_told_to_call_or_ask_the_helper(remover: str) -> None:
    advice = advise(["itching"], True, remover=Remover(remover))
    assert steps_of(advice) == ["tape_off_by_us", "call_us", "no_new_tape", "watch_for_emergency"]


def test_a_limb_in_danger_does_not_wait_for_the_helper() -> None:
    assert steps_of(advise(["cold_or_blue"], True, remover=Remover.CLINIC))[0] == "tape_off_now"


@pytest.mark.parametrize("minutes", [0, 1, 29, 29.999])
@pytest.mark.parametrize("key", ["redness", "itching"])
def test_just_after_removal_what_may_settle_is_watched(key: str, minutes: float) -> None:
    advice = advise([key], False, minutes)
    assert advice.urgency is Urgency.WATCH
    assert steps_of(advice) == ["look_at_thirty", "no_new_tape", "watch_for_emergency"]
    assert advice.reasons == (
        f"{SIGN_BY_KEY[key].words}: it may settle; less than 30 minutes have passed since removal.",
    )
    assert (advice.injury_possible, advice.allergy_possible) == (False, False)


@pytest.mark.parametrize("key", sorted(set(KEYS) - {"redness", "itching"}))
def test_nothing_else_is_watched_just_after_removal(key: str) -> None:
    advice = advise([key, "redness"], False, 5)
    assert advice.urgency == URGENCIES[key]
    assert advice.reasons[0] == f"{SIGN_BY_KEY[key].words}: {SIGN_BY_KEY[key].why}"


INJURY = (
    "Still there 30 minutes or more after removal: it may be an adhesive injury "
    "(McNichol and others 2013). The therapist grades it."
)
ALLERGY = "Here a day or more after removal: it may be an allergy (from memory). No tape again before a doctor says so."


@pytest.mark.parametrize(
    ("minutes", "injury"), [(29.99, False), (30, True), (30.0, True), (30.01, True), (31, True), (2880, True)]
)
@pytest.mark.parametrize("key", ["redness", "rash", "blister", "broken_skin", "hives", "fever_or_pus"])
def test_a_lasting_skin_change_against_mcnichol(key: str, minutes: float, injury: bool) -> None:
    # McNichol and others 2013, J WOCN 40(4): still there "30 minutes or more" after removal, so exactly 30:00 counts.
    advice = advise([key], False, minutes)
    assert advice.injury_possible is injury
    assert (INJURY in advice.reasons) is injury
    if injury:
        assert advice.urgency == URGENCIES[key]


def test_the_limit_against_mcnichol() -> None:
    assert INJURY_MINUTES == 30


@pytest.mark.parametrize("key", ["itching", "burning", "numbness", "rising_pain"])
def test_what_cannot_be_seen_is_no_skin_change(key: str) -> None:
    assert not advise([key], False, 45).injury_possible


def test_itching_that_lasts_is_seen_soon() -> None:
    assert advise(["itching"], False, 30).urgency is Urgency.SOON


@pytest.mark.parametrize(("minutes", "allergy"), [(1439.9, False), (1440, True), (4320, True), (20000, True)])
@pytest.mark.parametrize("key", ["rash", "hives", "blister"])
def test_a_late_rash_may_be_an_allergy(key: str, minutes: float, allergy: bool) -> None:
    # Allergic contact dermatitis comes after 24 to 96 hours (from memory).
    advice = advise([key], False, minutes)
    assert advice.allergy_possible is allergy
    assert (ALLERGY in advice.reasons) is allergy


@pytest.mark.parametrize("key", ["redness", "broken_skin", "itching"])
def test_other_late_signs_do_not_speak_for_an_allergy(key: str) -> None:
    assert not advise([key], False, 3000).allergy_possible


@pytest.mark.parametrize("key", KEYS)
def test_not_knowing_when_it_came_off_never_lowers_the_urgency(key: str) -> None:
    unknown = advise([key], False).urgency
    assert all(unknown.rank >= advise([key], False, minutes).urgency.rank for minutes in (0, 29, 30, 5000))


@pytest.mark.parametrize("tape_on", [True, False])
def test_a_report_without_a_sign_is_asked_about_today(tape_on: bool) -> None:
    advice = advise([], tape_on)
    assert advice.urgency is Urgency.TODAY
    # Nothing about oil and pulling: under it may be a blister that nobody named.
    assert steps_of(advice) == ["seen_today", "no_new_tape", "watch_for_emergency"]
    assert advice.reasons == ("No sign was ticked: somebody has to ask today what it is.",)


def test_a_sign_ticked_twice_counts_once_and_the_gravest_is_told_first() -> None:
    assert advise(["itching", "blister", "itching"], True).reasons == (
        "There is a blister: A blister is an injury of the skin.",
        "It itches: Itching is a sign to stop wearing the tape.",
    )


@pytest.mark.parametrize("sign", ["itch", "ITCHING", "", None, 3, ["itching"]])
def test_an_unknown_sign_is_refused_with_the_known_ones(sign: object) -> None:
    with pytest.raises(SignError, match="is not a sign; there are breathing, face_swelling"):
        advise([sign], True)  # type: ignore[list-item]


def test_one_text_is_not_a_list_of_signs() -> None:
    with pytest.raises(SignError, match=r"the signs are 'itching'; give a list, for instance \['itching'\]"):
        advise("itching", True)


@pytest.mark.parametrize("minutes", [-1, -0.1, float("nan"), float("inf"), True, "30"])
def test_minutes_that_are_none_are_refused(minutes: object) -> None:
    with pytest.raises(ValueError, match=r"minutes after removal are .*; give a number from 0, or None when not known"):
        advise(["redness"], False, minutes)  # type: ignore[arg-type]


def test_minutes_after_removal_and_tape_still_on_contradict_each_other() -> None:
    with pytest.raises(ValueError, match="the tape is on and 5 minutes after removal are given"):
        advise(["redness"], True, 5)


def test_a_remover_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="'nurse' is not a valid Remover"):
        advise(["redness"], True, remover="nurse")  # type: ignore[arg-type]


def test_every_step_is_used_by_some_report() -> None:
    used = {key for remover in Remover for sign in KEYS for key in steps_of(advise([sign], True, remover=remover))}
    used |= set(steps_of(advise(["redness"], False, 5)))
    assert used == set(ADVICE_STEPS)


@pytest.mark.parametrize("text", [step.text for step in ADVICE_STEPS.values()] + [sign.words for sign in SIGNS])
def test_patients_read_no_diagnosis_and_nothing_says_that_skin_is_fine(text: str) -> None:
    words = set(text.lower().replace(".", " ").replace(",", " ").replace(":", " ").split())
    assert not words & {"fine", "safe", "normal", "harmless", "red", "allergy", "dermatitis", "marsi", "grade"}


@pytest.mark.parametrize("sign", SIGNS, ids=lambda sign: sign.key)
def test_every_sign_has_a_picture_and_a_source(sign: Sign) -> None:
    assert sign.picture
    assert len(sign.source) >= 10
    assert [other.picture for other in SIGNS].count(sign.picture) == 1
