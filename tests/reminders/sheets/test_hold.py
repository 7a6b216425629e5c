"""The sheet of a held screen: why, what was advised, who must see the patient, in the patient's language."""

import re
from collections.abc import Callable
from datetime import datetime
from html import unescape

import pytest
from django.test import Client

from clinic.models import Clinic, User
from clinic.rules.tongue import LANGUAGES, tongue_of
from reminders.sheets.hold import ScreenPermits, hold_sheets
from reminders.sheets.printing import print_html, print_together
from taping.models import Application, SkinScreen
from taping.rules.hold import HOLD_WORDS
from taping.rules.skin import QUESTIONS, Answer, judge
from taping.services.screens import reason_row
from tests.factories import HelperFactory, PatientFactory, ScreenFactory
from tests.reminders.sheets.conftest import fonts_of, reader_of
from tests.reminders.tongues import OTHERS, english_in

SignedIn = Callable[..., tuple[Client, User]]


def screen_with(answers: dict[str, Answer], **values: object) -> SkinScreen:
    """A screen that was answered so, everything else with no."""
    every: dict[str, Answer] = {question.key: Answer.NO for question in QUESTIONS}
    verdict = judge(every | answers)
    reasons = [reason_row(reason) for reason in verdict.reasons]
    screen: SkinScreen = ScreenFactory(outcome=verdict.outcome, reasons=reasons, **values)
    return screen


def words_of(html: str) -> str:
    return " ".join(unescape(re.sub(r"<title>.*?</title>|<!--.*?-->|<[^>]+>", " ", html)).split())


def test_it_says_why_what_was_advised_and_who_must_see_the_patient(
    clinic: Clinic, text_of: Callable[[bytes], str]
) -> None:
    answers = {"infection": Answer.YES, "diabetes": Answer.YES}
    screen = screen_with(answers, note="between us", patient__full_name="Ada Quill")
    (html,) = hold_sheets(screen, clinic=clinic)
    text = text_of(print_html(html).pdf)
    for words in (
        "No tape today: left knee",
        "Ada Quill",
        "3 April 1985",
        "10 March 2027, 10:00",
        "To be seen today: a doctor.",
        "An infection of the skin here. No tape here. A doctor must see it today.",
        "Emergency first, tape second",
        "(212) 555-0100",
        "It is no diagnosis and does not replace a doctor.",
    ):
        assert words in text
    assert "between us" not in text
    assert "diabetes" not in text


def test_what_is_to_be_put_right_first_is_no_refusal(clinic: Clinic) -> None:
    (html,) = hold_sheets(screen_with({"damp_skin": Answer.YES}), clinic=clinic)
    assert "<h1>No tape yet: left knee</h1>" in html
    assert "<h2>To be put right first</h2>" in html
    assert "To be seen" not in html


@pytest.mark.parametrize("outcome", ["clear", "clear_with_care", "unfinished"])
def test_a_screen_that_permits_tape_or_is_not_finished_has_none(clinic: Clinic, outcome: str) -> None:
    with pytest.raises(ScreenPermits):
        hold_sheets(ScreenFactory(outcome=outcome), clinic=clinic)


@pytest.mark.parametrize("key", OTHERS)
@pytest.mark.parametrize("answer", [Answer.YES, Answer.NOT_KNOWN])
def test_whatever_holds_is_said_in_the_patients_language(
    tape: Application, clinic: Clinic, speak: Callable[[str], None], key: str, answer: Answer
) -> None:
    speak(key)
    all_of_it = dict.fromkeys(HOLD_WORDS, answer) | {"rash": Answer.YES}
    html, _ = hold_sheets(screen_with(all_of_it, patient=tape.patient), clinic=clinic)
    assert english_in(words_of(html)) == []
    assert f'<html lang="{key}" dir="{tongue_of(key).direction}">' in html
    assert html.count("<li>") == len(HOLD_WORDS)


@pytest.mark.parametrize("key", OTHERS)
def test_what_is_put_right_first_is_said_in_the_patients_language(
    tape: Application, clinic: Clinic, speak: Callable[[str], None], key: str
) -> None:
    speak(key)
    html, _ = hold_sheets(screen_with({"tape_here": Answer.YES}, patient=tape.patient), clinic=clinic)
    assert english_in(words_of(html)) == []


def test_the_clinics_language_follows_for_whoever_sees_the_patient(
    tape: Application, clinic: Clinic, speak: Callable[[str], None], text_of: Callable[[bytes], str]
) -> None:
    speak("ar")
    htmls = hold_sheets(screen_with({"hot_joint": Answer.YES}, patient=tape.patient), clinic=clinic)
    printed = print_together(htmls, title="No tape")
    assert (printed.pages, printed.missing) == (2, ())
    pages = [page.extract_text() for page in reader_of(printed.pdf).pages]
    assert "To be seen today: a doctor." not in pages[0]
    assert "To be seen today: a doctor." in pages[1]
    assert "الركبة اليسرى" in text_of(printed.pdf)
    clinic.language = "ar"
    assert len(hold_sheets(screen_with({"hot_joint": Answer.YES}, patient=tape.patient), clinic=clinic)) == 1


def test_a_language_nobody_approved_gives_way_to_the_clinics(tape: Application, clinic: Clinic) -> None:
    tape.patient.language = "es"
    (html,) = hold_sheets(screen_with({"rash": Answer.YES}, patient=tape.patient), clinic=clinic)
    assert '<html lang="en" dir="ltr">' in html


def test_it_speaks_the_language_of_the_helper_who_gets_the_messages(
    tape: Application, clinic: Clinic, speak: Callable[[str], None]
) -> None:
    speak("en")
    HelperFactory(patient=tape.patient, language="de", gets_messages=True)
    html, _ = hold_sheets(screen_with({"rash": Answer.YES}, patient=tape.patient), clinic=clinic)
    assert "Heute kein Tape: linkes Knie" in html


@pytest.mark.parametrize("paper", ["A4", "letter"])
@pytest.mark.parametrize("key", LANGUAGES)
def test_three_reasons_fill_one_page_with_every_letter_drawn(
    tape: Application, clinic: Clinic, speak: Callable[[str], None], key: str, paper: str
) -> None:
    speak(key)
    answers = dict.fromkeys(("clot_suspected", "infection", "unassessed_injury"), Answer.YES)
    html = hold_sheets(screen_with(answers, patient=tape.patient), clinic=clinic)[0]
    printed = print_html(html, paper=paper)
    assert (printed.pages, printed.missing) == (1, ())


def test_names_in_other_scripts_and_numbers_beside_them_stay_in_order(
    clinic: Clinic, text_of: Callable[[bytes], str]
) -> None:
    screen = screen_with({"rash": Answer.YES}, patient=PatientFactory(full_name="מרים כהן"))
    printed = print_html(hold_sheets(screen, clinic=clinic)[0])
    text = text_of(printed.pdf)
    assert "מרים כהן" in text
    assert "3 April 1985" in text
    assert all(fonts_of(printed.pdf).values())


def test_the_page_of_the_screen_gives_both_languages_in_one_paper(
    signed_in: SignedIn, tape: Application, speak: Callable[[str], None]
) -> None:
    client, _ = signed_in("therapist")
    speak("fr")
    screen = screen_with({"rash": Answer.YES}, patient=tape.patient)
    response = client.get(f"/screens/{screen.pk}/no-tape/")
    pages = [page.extract_text() for page in reader_of(response.content).pages]
    assert ["Pas de bande aujourd'hui" in page for page in pages] == [True, False]
    assert ["No tape today" in page for page in pages] == [False, True]


def test_asking_is_told_on_the_clinics_clock(clinic: Clinic, now: datetime) -> None:
    clinic.time_zone = "Pacific/Auckland"
    (html,) = hold_sheets(screen_with({"rash": Answer.YES}), clinic=clinic)
    assert f"{now.astimezone(clinic.zone):%H:%M}" in html
    assert "11 March 2027" in html
