"""What a text from a patient asks for.

The words that withdraw consent include those named in 47 CFR 64.1200(a)(10) (United States); the rest is common
practice, no source. Only a text that is nothing but such a word counts: "please stop the pain" is for a person.
"""

import unicodedata
from enum import StrEnum


class Reply(StrEnum):
    """What a text means; OTHER goes to a person."""

    STOP = "stop"
    START = "start"
    OFF = "off"
    OTHER = "other"


STOP_WORDS = frozenset(
    {
        "stop",
        "stopall",
        "stop all",
        "quit",
        "end",
        "revoke",
        "opt out",
        "optout",
        "cancel",
        "unsubscribe",
        "arret",
    }
)
START_WORDS = frozenset({"start", "unstop"})
OFF_WORDS = frozenset({"off"})

_MEANINGS = {
    **dict.fromkeys(STOP_WORDS, Reply.STOP),
    **dict.fromkeys(START_WORDS, Reply.START),
    **dict.fromkeys(OFF_WORDS, Reply.OFF),
}
_POLITE = frozenset({"please", "pls", "thanks", "thank", "you", "thx"})


def classify(text: str) -> Reply:
    """Return what `text` asks for, read without case, accents, punctuation, symbols and words of courtesy."""
    return _MEANINGS.get(" ".join(word for word in _plain(text).split() if word not in _POLITE), Reply.OTHER)


def _plain(text: str) -> str:
    decomposed = unicodedata.normalize("NFKD", text).casefold()
    kept = (_letter_or_space(character) for character in decomposed if not unicodedata.combining(character))
    return "".join(kept)


def _letter_or_space(character: str) -> str:
    if character.isalnum():
        return character
    return "" if unicodedata.category(character) == "Cf" else " "
