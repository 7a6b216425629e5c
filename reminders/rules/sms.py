"""What a text costs on the way to a phone: encoding, units and segments (3GPP TS 23.038 and 23.040)."""

import re
import unicodedata
from dataclasses import dataclass
from typing import Literal

Encoding = Literal["GSM-7", "UCS-2"]

BASIC = frozenset(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
"""The default alphabet, one septet each (TS 23.038, 6.2.1), without the escape itself."""

EXTENSION = frozenset("\f^{}\\[~]|€")
"""The extension table, an escape and a code each (TS 23.038, 6.2.1.1)."""

_ROOM: dict[Encoding, tuple[int, int, int]] = {"GSM-7": (160, 153, 152), "UCS-2": (70, 67, 66)}
"""Units in a single message, and in each of several with an 8-bit and with a 16-bit reference: 140 octets
less a header of 6 or 7 (TS 23.040, 9.2.3.24)."""

_TO_GSM = str.maketrans(
    {
        **dict.fromkeys("\u2018\u2019\u201a\u201b\u2032`\u00b4", "'"),
        **dict.fromkeys("\u201c\u201d\u201e\u201f\u2033\u00ab\u00bb", '"'),
        **dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2015\u2212", "-"),
        **dict.fromkeys("\u00a0\u2002\u2003\u2007\u2008\u2009\u200a\u202f\t", " "),
        **dict.fromkeys("\u00ad\u200b\u2060\ufeff", ""),
        "\u2026": "...",
    }
)

PLAIN_LIMIT = 2
"""Segments a message may fill, and what a safety message may fill where its letters need UCS-2."""
SAFETY_LIMIT = 4


@dataclass(frozen=True, slots=True)
class Segments:
    """Encoding, `units` (septets, or 16-bit units) and `count` (segments; 0 for an empty text)."""

    encoding: Encoding
    units: int
    count: int


def segments(text: str, *, wide_reference: bool = False) -> Segments:
    """Return how `text`, exactly as it stands, is sent.

    One character outside GSM-7 turns the whole text into UCS-2. An escape and its character, and the two halves
    of a character beyond the basic plane, stay in one segment. `wide_reference` counts with the 16-bit reference
    number some gateways use, one octet dearer a segment.
    """
    encoding: Encoding = "GSM-7" if all(c in BASIC or c in EXTENSION for c in text) else "UCS-2"
    sizes = [2 if c in EXTENSION else 1 for c in text] if encoding == "GSM-7" else [1 + (c > "\uffff") for c in text]
    single, narrow, wide = _ROOM[encoding]
    units = sum(sizes)
    if units <= single:
        return Segments(encoding, units, min(units, 1))
    return Segments(encoding, units, _packed(sizes, wide if wide_reference else narrow))


def letters_outside(text: str) -> tuple[str, ...]:
    """Return the letters of `text`, each once, that turn it into UCS-2."""
    return tuple(dict.fromkeys(c for c in text if c not in BASIC and c not in EXTENSION))


def to_gsm(text: str) -> str:
    """Return `text` composed (NFC), with typographic marks and spaces as their GSM-7 likenesses.

    Letters are never replaced: a name is spelt as its owner spells it, even where that costs a segment.
    """
    return unicodedata.normalize("NFC", text).translate(_TO_GSM)


_THRIFTY = {"es": {"sábado": "sabado"}, "fr": {"août": "aout"}}
_WORD = re.compile(r"\w+")


def thrifty(text: str, language: str) -> str:
    """Return `text` with the names of days and months spelt without the one letter that would double its price.

    Only these words, and only in the languages whose other words get by in the default alphabet.
    """
    spelt = _THRIFTY.get(language)
    return _WORD.sub(lambda word: spelt.get(word.group(), word.group()), text) if spelt else text


def within_limit(text: str, *, safety: bool) -> bool:
    """Tell whether `text` is short enough to be sent: two segments, four for a safety message in UCS-2."""
    cost = segments(text)
    return cost.count <= limit_of(cost.encoding, safety=safety)


def limit_of(encoding: Encoding, *, safety: bool) -> int:
    """Return how many segments a text in this encoding may fill."""
    return SAFETY_LIMIT if safety and encoding == "UCS-2" else PLAIN_LIMIT


def _packed(sizes: list[int], room: int) -> int:
    count, used = 1, 0
    for size in sizes:
        if used + size > room:
            count, used = count + 1, 0
        used += size
    return count
