"""Passwords that a stranger would guess first, beside the usual lists of common ones."""

import re
from collections.abc import Collection

from clinic.rules.text import search_key

ALONE, WITH_CODE = 15, 8
"""Least characters of a password that stands alone, and of one with a second factor.

NIST SP 800-63B-4 (2025), section 3.1.1.2: 15 where it is the only factor, 8 within a multi-factor log-in.
"""
_LETTERS = re.compile(r"[^\W\d_]+")


def least_length(*, with_code: bool) -> int:
    """How many characters a password needs at least."""
    return WITH_CODE if with_code else ALONE


def is_made_of(password: str, words: Collection[str]) -> bool:
    """Whether the letters of password are nothing but words known here, whatever digits and signs stand between.

    words: names of the service, of the clinic and of the person (NIST SP 800-63B-4, 3.1.1.2, "context-specific
    words"). Case and accents do not count. A password without letters is left to the lists of common ones.
    """
    known = {part for word in words for part in _LETTERS.findall(search_key(word)) if len(part) > 1}
    letters = "".join(_LETTERS.findall(search_key(password)))
    return bool(letters) and _splits(letters, known)


def _splits(letters: str, known: Collection[str]) -> bool:
    """Whether letters can be read as known words, one after the other."""
    reached = {0}
    for end in range(1, len(letters) + 1):
        if any(letters.endswith(word, 0, end) and end - len(word) in reached for word in known):
            reached.add(end)
    return len(letters) in reached
