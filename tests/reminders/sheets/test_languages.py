"""What goes home with the patient, in the language of whoever gets the messages: read back from outside."""

import re
from base64 import b64decode
from collections.abc import Callable
from datetime import datetime
from typing import Any
from unicodedata import bidirectional

import pytest

from clinic.models import Clinic
from clinic.rules.tongue import LANGUAGES, tongue_of
from reminders.services.links import link_address
from reminders.sheets.aftercare import aftercare_sheet
from reminders.sheets.printing import Printed, fitted, print_html, print_together
from taping.models import Application
from tests.factories import HelperFactory, StripFactory
from tests.reminders.sheets.conftest import fonts_of, reader_of
from tests.reminders.tongues import OTHERS, english_in


def sheet(tape: Application, clinic: Clinic, now: datetime, paper: str = "letter") -> Printed:
    return print_html(aftercare_sheet(tape, clinic=clinic, now=now), paper=paper, one_page=True)


@pytest.mark.parametrize("paper", ["A4", "letter"])
@pytest.mark.parametrize("key", list(LANGUAGES))
def test_two_strips_fill_one_page_with_every_letter_drawn(
    tape: Application, clinic: Clinic, now: datetime, speak: Callable[[str], None], key: str, paper: str,
    codes_of: Callable[[bytes], list[str]], text_of: Callable[[bytes], str],
) -> None:  # fmt: skip
    speak(key)
    StripFactory(plan=tape.plan, position=1)
    StripFactory(plan=tape.plan, position=2, place="patellar_tendon")
    printed = sheet(tape, clinic, now, paper)
    assert (printed.pages, printed.missing) == (1, ())
    assert printed.room_mm < 7  # what the words leave is the pictures'
    fonts = fonts_of(printed.pdf)
    assert fonts
    assert set(fonts.values()) == {True}
    assert codes_of(printed.pdf) == [link_address(tape)]
    reader: Any = reader_of(printed.pdf)
    assert reader.trailer["/Root"]["/Lang"] == key
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"]
    said = text_of(printed.pdf)
    for number in ("911", "10:20", "11:00"):
        assert number in said
    if key != "ar":  # what runs from right to left is read back below
        for words in ("Emergency first, tape second", "While you wear it", "Scan: tell us it is off"):
            assert tongue_of(key).say(words) in said or (printed.fit.tight and words.startswith("Scan"))


@pytest.mark.parametrize("paper", ["A4", "letter"])
@pytest.mark.parametrize("key", list(LANGUAGES))
def test_the_pictures_of_one_strip_can_be_read_at_eighty(
    tape: Application, clinic: Clinic, now: datetime, speak: Callable[[str], None], key: str, paper: str
) -> None:
    speak(key)
    fit = sheet(tape, clinic, now, paper).fit
    assert (22 if fit.tight else 31) + fit.grown_mm >= 38


@pytest.mark.parametrize("key", OTHERS)
@pytest.mark.parametrize("removal", ["home", "helper", "clinic"])
def test_no_english_is_left(
    tape: Application, clinic: Clinic, now: datetime, speak: Callable[[str], None], key: str, removal: str
) -> None:
    speak(key)
    tape.removal = removal
    html = aftercare_sheet(tape, clinic=clinic, now=now)
    heard = " ".join(re.findall(r'alt="([^"]*)"', html))
    assert english_in(re.sub(r"<!--.*?-->|<[^>]+>", " ", html) + heard) == []
    assert f'<html lang="{key}" dir="{tongue_of(key).direction}">' in html


def test_arabic_is_read_back_in_its_own_letters_and_numbers_keep_their_order(
    tape: Application, clinic: Clinic, now: datetime, speak: Callable[[str], None], text_of: Callable[[bytes], str]
) -> None:
    speak("ar")
    said = text_of(sheet(tape, clinic, now).pdf)
    for words in ("الطوارئ", "الشريط", "الركبة"):
        assert words in said
    assert said.count("(212) 555-0100") == 1
    assert "555-0101" in said  # of a line of nothing but a number the reader itself turns the brackets


@pytest.mark.parametrize("key", LANGUAGES)
def test_no_drawing_holds_letters_that_the_pdf_library_would_tear_apart(
    tape: Application, clinic: Clinic, now: datetime, speak: Callable[[str], None], key: str
) -> None:
    """It sets the text of an SVG letter by letter from left to right: joined ones come out apart and turned about."""
    speak(key)
    html = aftercare_sheet(tape, clinic=clinic, now=now)
    drawings = [b64decode(one).decode() for one in re.findall(r'src="data:image/svg\+xml;base64,([^"]*)"', html)]
    written = "".join("".join(re.findall(r"<text[^>]*>([^<]*)</text>", one)) for one in drawings)
    assert [letter for letter in written if bidirectional(letter) in {"R", "AL"}] == []
    assert html.count('class="picture"') == 3
    assert (tongue_of(key).say("start") in written) == (key != "ar")


def test_a_language_nobody_approved_gives_way_to_the_clinics(tape: Application, clinic: Clinic, now: datetime) -> None:
    tape.patient.language = "es"
    html = aftercare_sheet(tape, clinic=clinic, now=now)
    assert '<html lang="en" dir="ltr">' in html
    assert "While you wear it" in html


def test_it_speaks_the_language_of_the_helper_who_gets_the_messages(
    tape: Application, clinic: Clinic, now: datetime, speak: Callable[[str], None]
) -> None:
    speak("en")
    HelperFactory(patient=tape.patient, language="de", gets_messages=True)
    assert "Während Sie es tragen" in aftercare_sheet(tape, clinic=clinic, now=now)


def test_in_a_batch_each_sheet_keeps_its_language_and_direction(
    tape: Application, clinic: Clinic, now: datetime, speak: Callable[[str], None], text_of: Callable[[bytes], str]
) -> None:
    htmls = []
    StripFactory(plan=tape.plan, position=1)
    StripFactory(plan=tape.plan, position=2, place="patellar_tendon")
    for key in ("en", "ar", "de"):
        speak(key)
        html = aftercare_sheet(tape, clinic=clinic, now=now)
        htmls.append(fitted(html, print_html(html, paper="letter", one_page=True).fit))
    printed = print_together(htmls, title="Sheets", paper="letter")
    assert printed.pages == 3
    said = text_of(printed.pdf)
    assert "While you wear it" in said
    assert "الطوارئ" in said


def test_the_clinics_own_words_run_in_their_own_direction(
    tape: Application, clinic: Clinic, now: datetime, speak: Callable[[str], None]
) -> None:
    speak("ar")
    for words, runs in (("Outside hours call (212) 555-0101.", "ltr"), ("خارج الدوام: (212) 555-0101", "rtl")):
        clinic.out_of_hours_advice = words
        html = aftercare_sheet(tape, clinic=clinic, now=now)
        assert f'<p class="closed" dir="{runs}">' in html
        assert '<bdi dir="ltr">(212) 555-0101</bdi>' in html
