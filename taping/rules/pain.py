"""How much it hurts, on the numerical scale from 0 to 10. Nothing here says what a score means."""

LEAST, MOST = 0, 10
"""Eleven points: 0 is no pain, 10 the worst that can be imagined (Farrar and others 2001, Pain 94:149-158)."""

SCORES: tuple[int, ...] = tuple(range(LEAST, MOST + 1))

LEAST_WORDS = "no pain"
MOST_WORDS = "worst pain imaginable"


class PainError(ValueError):
    """A number that is not on the scale; the text says what would be."""


def check_score(score: int | None) -> int | None:
    """Return ``score`` where it is on the scale, or None where nobody asked.

    Raises:
        PainError: for any other value, halves and true or false included.
    """
    if score is None or (type(score) is int and LEAST <= score <= MOST):
        return score
    raise PainError(f"{score!r} is not on the scale; give a whole number from {LEAST} to {MOST}")
