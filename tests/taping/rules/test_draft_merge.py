"""Two versions of a draft are brought together without losing a word and without choosing an answer."""

from taping.rules.draft_merge import Difference, differences, merge


def test_only_what_differs_is_shown_both_ways() -> None:
    stored, here = {"rash": "no", "note": "dry", "diabetes": "no"}, {"rash": "yes", "note": "dry", "sensor": "no"}
    assert differences(stored, here) == (
        Difference("rash", "no", "yes"),
        Difference("sensor", "", "no"),
        Difference("diabetes", "no", ""),
    )
    assert [found.clashes for found in differences(stored, here)] == [True, False, False]


def test_same_versions_differ_in_nothing() -> None:
    assert differences({"rash": "no"}, {"rash": "no", "note": ""}) == ()


def test_what_only_one_answered_is_kept() -> None:
    both = merge({"rash": "no"}, {"diabetes": "yes"})
    assert (both.values, both.anew) == ({"rash": "no", "diabetes": "yes"}, ())


def test_what_both_answered_differently_is_left_open() -> None:
    both = merge({"rash": "no", "goal": "ease_pain"}, {"rash": "yes", "goal": "ease_muscle"})
    assert (both.values, both.anew) == ({}, ("rash", "goal"))


def test_texts_follow_each_other_and_are_not_said_twice() -> None:
    assert merge({"note": "dry"}, {"note": "seen"}).values == {"note": "dry\nseen"}
    assert merge({"late_reason": "no Wi-Fi"}, {"late_reason": "match"}).values == {"late_reason": "no Wi-Fi; match"}
    assert merge({"note": "dry"}, {"note": "dry, seen"}).values == {"note": "dry, seen"}
    assert merge({"note": "dry, seen"}, {"note": "dry"}).values == {"note": "dry, seen"}
    assert merge({"note": "dry"}, {"note": "seen"}).anew == ()
