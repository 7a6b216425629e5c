"""The catalogues: whole, compiled as they stand, and no sentence with other placeholders than the program's.

Names of days and months are checked against the Unicode CLDR, as Babel 2.18 carries it.
"""

from datetime import date, timedelta

import pytest
from babel.dates import format_date, get_day_names, get_month_names
from django.core.management import call_command

from clinic.rules.tongue import holes_in, tongue_of
from reminders import catalogue
from reminders.catalogue import catalogue_path, catalogue_read, compiled, sentences
from reminders.rules.words import MONTHS, WEEKDAYS, day_words, year_day_words
from tests.reminders.tongues import OTHERS

LOOSE = {"tape"}
"""Whose tape it is may be left out where a language says it better without."""
NOT_THERE = "eo"
PATTERNS = {"es": "EEEE, d 'de' MMMM", "fr": "EEEE d MMMM", "de": "EEEE, d. MMMM", "ar": "EEEE، d MMMM"}


@pytest.mark.parametrize("key", OTHERS)
def test_every_sentence_a_patient_can_read_is_translated(key: str) -> None:
    read = catalogue_read(key)
    assert [one for one in sentences() if not (found := read.get(one)) or not all(_forms(found.string))] == []


@pytest.mark.parametrize("key", OTHERS)
def test_the_catalogue_holds_nothing_else(key: str) -> None:
    there = {message.id for message in catalogue_read(key) if message.id}
    assert there == set(sentences())


@pytest.mark.parametrize("key", OTHERS)
def test_the_program_reads_what_people_read(key: str) -> None:
    assert catalogue_path(key, "mo").read_bytes() == compiled(key)


@pytest.mark.parametrize("key", OTHERS)
def test_no_translation_has_other_placeholders(key: str) -> None:
    wrong = []
    for message in catalogue_read(key):
        if not message.id:
            continue
        asked = {hole.lower() for one in _forms(message.id) for hole in holes_in(one)}
        for said in _forms(message.string):
            there = {hole.lower() for hole in holes_in(said)}
            wrong += [said] if there - asked or (asked - there) - LOOSE else []
    assert wrong == []


@pytest.mark.parametrize("key", OTHERS)
def test_weekdays_and_months_are_written_out_against_cldr(key: str) -> None:
    tongue = tongue_of(key)
    days, months = get_day_names(locale=key), get_month_names(locale=key)
    assert [tongue.say(one) for one in WEEKDAYS] == [days[number] for number in range(7)]
    assert [tongue.say(one) for one in MONTHS] == [months[number] for number in range(1, 13)]


@pytest.mark.parametrize("key", OTHERS)
def test_a_day_is_written_in_the_language_s_order_against_cldr(key: str) -> None:
    """The pattern is CLDR's "weekday, day, month" of that language; the digits stay 0 to 9."""
    first = date(2027, 1, 1)
    for number in range(0, 365, 11):
        day = first + timedelta(days=number)
        assert day_words(day, tongue_of(key)) == format_date(day, PATTERNS[key], locale=key)


@pytest.mark.parametrize("key", OTHERS)
def test_a_day_with_its_year_is_written_in_the_language_s_order_against_cldr(key: str) -> None:
    """CLDR's long form, its marks of direction left out: the letters around it turn the line already."""
    for number in range(0, 365, 11):
        day = date(1985, 1, 1) + timedelta(days=number)
        assert year_day_words(day, tongue_of(key)) == format_date(day, "long", locale=key).replace("\u200f", "")


def test_writing_the_catalogues_again_changes_nothing(
    tmp_path: object, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    written: dict[str, str] = {}
    monkeypatch.setattr(catalogue, "CATALOGUES", tmp_path)
    for key in OTHERS:
        here = catalogue_path(key, "po")
        here.parent.mkdir(parents=True)
        original = (catalogue.ROOT / "clinic/locale" / key / "LC_MESSAGES/patient.po").read_text(encoding="utf-8")
        here.write_text(original, encoding="utf-8")
        written[key] = original
    call_command("catalogue", add=NOT_THERE)
    assert {key: catalogue_path(key, "po").read_text(encoding="utf-8") for key in OTHERS} == written
    assert f"{NOT_THERE}/LC_MESSAGES/patient.po: {len(sentences())} sentences to translate" in capsys.readouterr().out


def _forms(text: str | tuple[str, ...] | list[str]) -> list[str]:
    return [text] if isinstance(text, str) else list(text)
