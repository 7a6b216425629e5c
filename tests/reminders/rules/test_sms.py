"""What a text costs, checked against 3GPP TS 23.038 and 23.040 and the package gsm0338."""

import unicodedata

import gsm0338
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reminders.rules.sms import BASIC, EXTENSION, Segments, segments, to_gsm, within_limit

CODEC = gsm0338.Codec()

# 3GPP TS 23.038 (alphabets) and 23.040 (concatenation): text, encoding, units, segments.
VECTORS = [
    ("A" * 160, "GSM-7", 160, 1),
    ("A" * 161, "GSM-7", 161, 2),
    ("A" * 306, "GSM-7", 306, 2),
    ("A" * 307, "GSM-7", 307, 3),
    ("A" * 459, "GSM-7", 459, 3),
    ("A" * 460, "GSM-7", 460, 4),
    ("€" * 80, "GSM-7", 160, 1),
    ("€" * 81, "GSM-7", 162, 2),
    ("A" * 158 + "€", "GSM-7", 160, 1),
    ("A" * 159 + "€", "GSM-7", 161, 2),
    ("A" * 152 + "€" + "A" * 152, "GSM-7", 306, 3),
    ("€" + "A" * 304, "GSM-7", 306, 2),
    ("a" * 152 + "[" + "a" * 152, "GSM-7", 306, 3),
    ("[]" * 40, "GSM-7", 160, 1),
    ("Ç" * 160, "GSM-7", 160, 1),
    ("é" * 160, "GSM-7", 160, 1),
    ("ç" * 70, "UCS-2", 70, 1),
    ("ç" * 71, "UCS-2", 71, 2),
    ("\u2019" + "A" * 70, "UCS-2", 71, 2),
    ("ž" * 134, "UCS-2", 134, 2),
    ("ž" * 135, "UCS-2", 135, 3),
    ("😀" * 35, "UCS-2", 70, 1),
    ("😀" * 36, "UCS-2", 72, 2),
    ("A" * 66 + "😀" + "A" * 66, "UCS-2", 134, 3),
    ("]" * 68 + "😀", "UCS-2", 70, 1),
    ("", "GSM-7", 0, 0),
    ("A", "GSM-7", 1, 1),
]

# 3GPP TS 23.038, 6.2.1.1: the extension table, escape and code.
EXTENSION_CODES = {
    "\f": "1b0a",
    "^": "1b14",
    "{": "1b28",
    "}": "1b29",
    "\\": "1b2f",
    "[": "1b3c",
    "~": "1b3d",
    "]": "1b3e",
    "|": "1b40",
    "€": "1b65",
}

PLAIN = (
    "Hi Maeve, your shoulder tape comes off tomorrow, Tue 30 March, by 10:00. "
    "Please do not pull it dry. Questions? Reply to this text or ring us on 01632 960123."
)
CURLY = PLAIN.replace("do not", "don\u2019t")


@pytest.mark.parametrize(("text", "encoding", "units", "count"), VECTORS)
def test_a_text_costs_what_the_standard_says_against_3gpp(text: str, encoding: str, units: int, count: int) -> None:
    cost = segments(text)

    assert (cost.encoding, cost.units, cost.count) == (encoding, units, count)


# 3GPP TS 23.040, 9.2.3.24.8: a 16-bit reference takes one octet more; 133 octets hold 152 septets or 66 units.
@pytest.mark.parametrize(
    ("text", "count"),
    [("A" * 160, 1), ("A" * 304, 2), ("A" * 305, 3), ("ž" * 70, 1), ("ž" * 132, 2), ("ž" * 133, 3)],
)
def test_a_wide_reference_leaves_less_room_against_3gpp(text: str, count: int) -> None:
    assert segments(text, wide_reference=True).count == count


def octets(units: int, bits: int) -> int:
    return -(-units * bits // 8)


# 3GPP TS 23.040, 9.2.3.24: 140 octets, less a header of 6 (8-bit reference) or 7 (16-bit), hold this many and no more.
@pytest.mark.parametrize(
    ("units", "bits", "header"),
    [(160, 7, 0), (153, 7, 6), (152, 7, 7), (70, 16, 0), (67, 16, 6), (66, 16, 7)],
)
def test_the_room_in_a_segment_follows_from_its_octets_against_3gpp(units: int, bits: int, header: int) -> None:
    text = "A" if bits == 7 else "ž"
    times = 1 if header == 0 else 4

    assert octets(units, bits) + header <= 140 < octets(units + 1, bits) + header
    full = segments(text * units * times, wide_reference=header == 7)
    over = segments(text * (units * times + 1), wide_reference=header == 7)
    assert (full.count, over.count) == (times, times + 1)


@pytest.mark.parametrize("character", sorted(BASIC))
def test_a_basic_character_costs_one_septet_against_gsm0338(character: str) -> None:
    assert len(CODEC.encode(character)[0]) == 1
    assert segments(character) == Segments("GSM-7", 1, 1)


@pytest.mark.parametrize("character", sorted(EXTENSION))
def test_an_extension_character_costs_two_septets_against_gsm0338(character: str) -> None:
    assert CODEC.encode(character)[0].hex() == EXTENSION_CODES[character]
    assert segments(character) == Segments("GSM-7", 2, 1)


def test_the_basic_alphabet_has_every_position_against_gsm0338() -> None:
    table = {CODEC.decode(bytes([code]))[0] for code in range(128) if code != 0x1B}

    assert table == BASIC
    assert len(BASIC) == 127


def test_the_extension_table_is_whole_against_3gpp() -> None:
    assert set(EXTENSION_CODES) == EXTENSION


@pytest.mark.parametrize("character", "çáâãêíóôõúž`\t’“”–—…ßẞЖ漢😀\x1b")
def test_one_foreign_character_decides_for_the_whole_text_against_gsm0338(character: str) -> None:
    foreign = character not in BASIC | EXTENSION

    assert segments("a" * 100 + character).encoding == ("UCS-2" if foreign else "GSM-7")
    assert foreign is (character != "ß")


@settings(deadline=None)
@given(st.text(max_size=400))
def test_the_encoding_is_the_one_the_codec_manages_against_gsm0338(text: str) -> None:
    try:
        septets = len(CODEC.encode(text.replace("\x1b", "ž"))[0])
    except UnicodeError:
        units = len(text.encode("utf-16-le")) // 2
        assert (segments(text).encoding, segments(text).units) == ("UCS-2", units)
    else:
        assert (segments(text).encoding, segments(text).units) == ("GSM-7", septets)


@settings(deadline=None)
@given(st.text(st.sampled_from("a€"), min_size=161, max_size=700))
def test_no_pair_is_split_and_no_segment_overflows_against_a_greedy_reader(text: str) -> None:
    parts = [""]
    for character in text:
        if len(CODEC.encode(parts[-1] + character)[0]) > 153:
            parts.append("")
        parts[-1] += character

    assert segments(text).count == len(parts)


# The lengths were counted with the package gsm0338.
def test_a_curly_apostrophe_no_longer_triples_the_price_against_gsm0338() -> None:
    assert segments(PLAIN) == Segments("GSM-7", len(CODEC.encode(PLAIN)[0]), 1) == Segments("GSM-7", 157, 1)
    assert segments(CURLY) == Segments("UCS-2", 156, 3)
    assert segments(to_gsm(CURLY)) == Segments("GSM-7", 156, 1)


@pytest.mark.parametrize(
    ("typed", "sent"),
    [
        ("\u2018a\u2019", "'a'"),
        ("\u201ca\u201d", '"a"'),
        ("9\u201310\u2014ok", "9-10-ok"),
        ("wait\u2026", "wait..."),
        ("10\u00a0kg\t!", "10 kg !"),
        ("`a\u00b4", "'a'"),
        ("\u00aba\u00bb \u201eb\u201f", '"a" "b"'),
        ("a\u200bb\u00adc\ufeffd\u2060", "abcd"),
        ("5\u2032 6\u2033 \u22127", "5' 6\" -7"),
        ("\u201ab\u201b\u2010\u2011\u2012\u2015", "'b'----"),
        ("a\u2002b\u2003c\u2007d\u2008e\u2009f\u200ag\u202fh", "a b c d e f g h"),
        ("a\r\n€", "a\r\n€"),
    ],
)
def test_typographic_marks_become_plain_ones(typed: str, sent: str) -> None:
    assert to_gsm(typed) == sent
    assert segments(sent).encoding == "GSM-7"


# Unicode Standard Annex 15 for the spellings, TS 23.038 for what fits.
def test_accents_are_composed_before_they_are_counted_against_unicode_and_3gpp() -> None:
    composed = "José, tape off ".ljust(120, "a")
    decomposed = unicodedata.normalize("NFD", composed)

    assert segments(composed) == Segments("GSM-7", 120, 1)
    assert segments(decomposed) == Segments("UCS-2", 121, 2)
    assert to_gsm(decomposed) == composed


def test_a_name_is_never_respelt_to_save_a_segment() -> None:
    text = "Sr Gonçalves, ".ljust(120, "a")

    assert to_gsm(text) == text
    assert segments(text) == Segments("UCS-2", 120, 2)


@settings(deadline=None)
@given(st.text(max_size=80))
def test_letters_of_any_script_survive_against_unicode(text: str) -> None:
    def letters(of: str) -> list[str]:
        return [c for c in unicodedata.normalize("NFC", of) if unicodedata.category(c)[0] == "L"]

    assert letters(to_gsm(text)) == letters(text)
    assert to_gsm(to_gsm(text)) == to_gsm(text)


@pytest.mark.parametrize(
    ("text", "safety", "fits"),
    [
        ("A" * 306, False, True),
        ("A" * 307, False, False),
        ("A" * 307, True, False),
        ("ž" * 134, False, True),
        ("ž" * 135, False, False),
        ("ž" * 135, True, True),
        ("ž" * 268, True, True),
        ("ž" * 269, True, False),
    ],
)
def test_only_a_safety_message_in_foreign_letters_may_be_long(text: str, safety: bool, fits: bool) -> None:
    assert within_limit(text, safety=safety) is fits
