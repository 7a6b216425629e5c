"""Which passwords a stranger would guess first."""

import pytest

from clinic.rules.passwords import is_made_of, least_length

WORDS = ("Wearwindow", "Harbour Lane Clinic", "tape", "Zoë Quill")


def test_lengths_against_nist() -> None:
    """NIST SP 800-63B-4 (2025), 3.1.1.2: fifteen characters alone, eight as part of a multi-factor log-in."""
    assert (least_length(with_code=False), least_length(with_code=True)) == (15, 8)


@pytest.mark.parametrize(
    ("password", "guessed"),
    [
        ("wearwindow12345", True),
        ("Harbour-Lane-Clinic-2027", True),
        ("harbourlaneclinic!!!", True),
        ("TAPEtapeTAPEtape", True),
        ("zoe quill zoe quill", True),
        ("harbour lane kettle spoon", False),
        ("wearwindows are nice", False),
        ("tapestry of the lane", False),
        ("123456789012345", False),
        ("", False),
    ],
)
def test_letters_that_are_only_our_words_are_guessed(password: str, guessed: bool) -> None:
    assert is_made_of(password, WORDS) is guessed


def test_no_words_guess_nothing() -> None:
    assert not is_made_of("harbour", [])


def test_a_long_password_is_judged_at_once() -> None:
    """A walk over all ways to split it would never end."""
    assert is_made_of("tape" * 50, WORDS)
    assert not is_made_of("tape" * 49 + "x", WORDS)
