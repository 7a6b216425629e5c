"""What an entry for the removal day says, whoever takes the tape off."""

import pytest

from clinic.rules.tongue import tongue_of
from reminders.rules.calendar_words import removal_entry_name, removal_entry_words
from taping.rules.removal import Remover


@pytest.mark.parametrize(
    ("remover", "words"),
    [
        (Remover.HOME, "At home. Slowly, never rip"),
        (Remover.HELPER, "With a helper, not alone"),
        (Remover.CLINIC, "At the clinic, not at home. Please call us for a time."),
    ],
)
def test_it_says_where_and_never_alone_where_somebody_else_takes_it_off(remover: Remover, words: str) -> None:
    said = removal_entry_words(remover, "(212) 555-0100")
    assert said.startswith(words)
    assert said.endswith(
        "Earlier is always allowed. Blister or raw skin: do not pull, call us first. Questions? Call us: (212) 555-0100"
    )
    assert ("At home." in said) is (remover is Remover.HOME)


def test_without_a_telephone_nobody_is_to_be_called() -> None:
    assert "Questions" not in removal_entry_words(Remover.HOME, "")


def test_the_name_of_the_entry_says_no_place_on_the_body() -> None:
    assert removal_entry_name("Harbour Lane Clinic") == "Tape comes off: Harbour Lane Clinic"


def test_an_arabic_entry_keeps_the_telephone_in_order() -> None:
    said = removal_entry_words(Remover.HOME, "(212) 555-0100", tongue_of("ar"))
    assert said.endswith("\u200e(212) 555-0100\u200e")
    assert said.startswith("في المنزل")
