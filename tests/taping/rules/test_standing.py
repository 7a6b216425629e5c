"""What earlier skin screens found, and for how long it speaks."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from taping.rules.standing import ScreenSaid, standing
from tests.factories.clinic import NOW

DAY = timedelta(days=1)
KNEE, ELBOW = ("knee", "left"), ("elbow", "right")


def said(days_ago: int, place: tuple[str, str], *found: str, **answers: str | None) -> ScreenSaid:
    """A screen that many days before NOW: "question:finding" for each reason, and its answers."""
    reasons: list[Mapping[str, Any]] = []
    for one in found:
        question, _, finding = one.partition(":")
        reasons.append({"question": question, "finding": finding, "text": f"{question}?", "advice": "Mind it."})
    return ScreenSaid(NOW - days_ago * DAY, *place, answers, reasons)


def shown(*screens: ScreenSaid) -> list[tuple[str, str, bool, datetime | None]]:
    return [(one.text, one.region, one.stop, one.denied_at) for one in standing(screens)]


def test_no_screen_says_nothing() -> None:
    assert shown() == []


def test_a_finding_keeps_its_words_day_and_place() -> None:
    (one,) = standing([said(3, KNEE, "fragile_skin:caution", fragile_skin="yes")])
    assert (one.text, one.advice, one.stop, one.made_at, one.region, one.side, one.denied_at) == (
        "fragile_skin?",
        "Mind it.",
        False,
        NOW - 3 * DAY,
        "knee",
        "left",
        None,
    )


def test_a_finding_about_the_person_names_no_place() -> None:
    assert shown(said(3, KNEE, "diabetes:caution")) == [("diabetes?", "", False, None)]


def test_what_is_put_right_before_taping_or_was_open_does_not_last() -> None:
    assert shown(said(3, KNEE, "damp_skin:prepare", "rash:open")) == []


def test_stops_stand_before_cautions_and_the_newest_first() -> None:
    rows = shown(said(9, KNEE, "rash:stop"), said(1, ELBOW, "fragile_skin:caution"), said(4, KNEE, "rash:stop"))
    assert rows == [("rash?", "knee", True, None), ("fragile_skin?", "elbow", False, None)]
    assert [one.made_at for one in standing([said(9, KNEE, "rash:stop"), said(4, KNEE, "rash:stop")])] == [
        NOW - 4 * DAY
    ]


def test_a_newer_screen_of_the_place_speaks_for_its_skin() -> None:
    assert shown(said(9, KNEE, "rash:stop"), said(2, KNEE, rash="no")) == []
    assert shown(said(9, KNEE, "rash:stop"), said(2, KNEE)) == []


def test_a_screen_of_another_place_says_nothing_about_this_skin() -> None:
    assert shown(said(9, KNEE, "rash:stop"), said(2, ELBOW, rash="no")) == [("rash?", "knee", True, None)]


def test_a_newer_answer_about_the_person_counts_from_any_place() -> None:
    assert shown(said(9, KNEE, "feverish:caution"), said(2, ELBOW, feverish="no")) == []


def test_a_question_left_open_decides_nothing() -> None:
    for answer in (None, "not_known"):
        rows = shown(said(9, KNEE, "feverish:caution"), said(2, ELBOW, feverish=answer))
        assert rows == [("feverish?", "", False, None)]


def test_an_earlier_reaction_is_never_forgotten_and_a_later_no_stands_beside_it() -> None:
    before = said(30, KNEE, "adhesive_allergy:stop", adhesive_allergy="yes")
    assert shown(before, said(9, ELBOW, adhesive_allergy="no"), said(2, KNEE, adhesive_allergy="no")) == [
        ("adhesive_allergy?", "", True, NOW - 2 * DAY)
    ]


def test_a_reaction_told_twice_is_shown_once() -> None:
    rows = standing([said(30, KNEE, "mild_reaction_tape:caution"), said(2, ELBOW, "mild_reaction_tape:caution")])
    assert [(one.made_at, one.denied_at) for one in rows] == [(NOW - 2 * DAY, None)]


def test_words_of_a_question_that_is_gone_still_speak_for_their_place() -> None:
    assert shown(said(3, KNEE, "of_old:caution")) == [("of_old?", "knee", False, None)]
    assert shown(ScreenSaid(NOW, *KNEE, {}, [{"text": "Thin"}])) == [("Thin", "knee", False, None)]
