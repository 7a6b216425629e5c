"""The languages beside English, and how English that was left over is found."""

import re

from clinic.rules.tongue import LANGUAGES

OTHERS = [key for key in LANGUAGES if key != "en"]

_ENGLISH = re.compile(
    r"\b(the|your|please|skin|call|today|left|knee|start|thank|scan|sheet|born|doctor|asked|known|until)\b",
    re.IGNORECASE,
)


def english_in(text: str) -> list[str]:
    """Words of text that stand in nearly every English sentence here and in none of the other languages."""
    return _ENGLISH.findall(text)
