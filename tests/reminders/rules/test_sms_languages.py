"""Texts in several languages and scripts, checked against the codecs that put them on the air."""

import gsm0338
import pytest

from reminders.rules.sms import Segments, letters_outside, segments, thrifty, to_gsm

CODEC = gsm0338.Codec()

# whose letters 3GPP TS 23.038 has in its default alphabet, and whose it has not
IN_ALPHABET = {
    "English": "Your tape comes off today. Start at the top, go slowly.",
    "German": "Heute kommt das Tape ab. Bitte langsam lösen, über die Haut streichen, größte Vorsicht.",
    "Danish": "Tapen skal af i dag. Gør det langsomt, på hud der er fugtig æøå ÆØÅ.",
    "Italian": "Oggi il nastro si toglie. Piano, così la pelle è più calma: perché no?",
    "Swedish": "Tejpen ska av i dag. Ta det långsamt, börja överst, för hårens riktning.",
}
OUTSIDE = {
    "French": "Aujourd'hui on enlève la bande, ça va doucement, même s'il n'y a pas de rougeur.",
    "Spanish": "Hoy se quita la cinta, más despacio, según la dirección del vello.",
    "Portuguese": "Hoje tira-se a fita, não puxe, comece por cima.",
    "Polish": "Dziś zdejmujemy taśmę, proszę powoli.",
    "Vietnamese": "Hôm nay gỡ băng dán ra, làm chậm.",
    "Greek": "Σήμερα βγαίνει η ταινία.",
    "Russian": "Сегодня снимаем ленту.",
    "Arabic": "اليوم ننزع الشريط ببطء.",
    "Hindi": "आज पट्टी उतारनी है.",
    "Chinese": "今天慢慢取下贴布。",
}


@pytest.mark.parametrize("text", IN_ALPHABET.values(), ids=IN_ALPHABET)
def test_a_language_inside_the_alphabet_costs_septets_against_gsm0338(text: str) -> None:
    assert segments(text) == Segments("GSM-7", len(CODEC.encode(text)[0]), 1)


@pytest.mark.parametrize("text", OUTSIDE.values(), ids=OUTSIDE)
def test_a_language_outside_the_alphabet_costs_sixteen_bits_against_utf_16(text: str) -> None:
    units = len(text.encode("utf-16-be")) // 2

    with pytest.raises(UnicodeError):
        CODEC.encode(text)
    assert segments(text) == Segments("UCS-2", units, 1 if units <= 70 else 2)


@pytest.mark.parametrize("text", [*IN_ALPHABET.values(), *OUTSIDE.values()], ids=[*IN_ALPHABET, *OUTSIDE])
def test_no_language_is_respelt(text: str) -> None:
    assert to_gsm(text) == text


@pytest.mark.parametrize("length", range(1, 14))
def test_pairs_are_cut_between_and_never_through_against_utf_16(length: int) -> None:
    text = "x" * (length % 2) + "😀" * (33 * length)
    octets = text.encode("utf-16-be")
    parts, rest = 0, octets
    while rest:
        cut = min(134, len(rest))
        # a part may not end with the first half of a pair
        if 0xD8 <= rest[cut - 2] <= 0xDB:
            cut -= 2
        parts, rest = parts + 1, rest[cut:]

    assert segments(text).count == (1 if len(octets) <= 140 else parts)


@pytest.mark.parametrize(
    ("text", "language", "spelt"),
    [
        ("el sábado, 13 de marzo", "es", "el sabado, 13 de marzo"),
        ("le 13 août", "fr", "le 13 aout"),
        ("le 13 août", "es", "le 13 août"),
        ("Sábado y sábados", "es", "Sábado y sábados"),
        ("größte", "de", "größte"),
    ],
)
def test_only_the_names_of_days_and_months_are_spelt_plainly(text: str, language: str, spelt: str) -> None:
    assert thrifty(text, language) == spelt


@pytest.mark.parametrize(
    ("text", "letters"),
    [("Größe {1} €", ()), ("taśmę, taśmę", ("ś", "ę")), ("✓ fine", ("✓",)), ("", ())],
)
def test_the_letters_that_make_a_text_dear_are_named_once(text: str, letters: tuple[str, ...]) -> None:
    assert letters_outside(text) == letters
