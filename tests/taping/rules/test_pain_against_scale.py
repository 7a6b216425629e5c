"""The scale on which patients say how much it hurts."""

import pytest

from taping.rules.pain import LEAST_WORDS, MOST_WORDS, SCORES, PainError, check_score


def test_the_scale_against_the_numerical_pain_rating_scale() -> None:
    """Eleven points, 0 no pain, 10 the worst (Farrar and others 2001, Pain 94:149-158)."""
    assert SCORES == (0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10)
    assert (LEAST_WORDS, MOST_WORDS) == ("no pain", "worst pain imaginable")


@pytest.mark.parametrize("score", [None, *range(11)])
def test_a_score_of_the_scale_is_kept_as_it_is(score: int | None) -> None:
    assert check_score(score) == score


@pytest.mark.parametrize("score", [-1, 11, 2.5, True, "3"])
def test_what_is_not_on_the_scale_is_refused_with_what_would_be(score: object) -> None:
    with pytest.raises(PainError, match="give a whole number from 0 to 10"):
        check_score(score)  # type: ignore[arg-type]
