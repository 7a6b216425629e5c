"""Finding patients, and those alike."""

from datetime import date

import pytest

from clinic.models import Patient
from clinic.selectors import patients_alike, patients_find
from tests.factories.clinic import PatientFactory

pytestmark = pytest.mark.django_db


def names(words: str, born: date | None = None) -> list[str]:
    return [patient.full_name for patient in patients_find(words, born)]


@pytest.mark.parametrize(
    ("stored", "words"),
    [
        ("Zoë Brontë", "zoe"),
        ("Zoë Brontë", "BRONTË zo"),
        ("Zoë Brontë", "Zoe\u0308 Bronte\u0308"),
        ("O'Neil", "o’neil"),
        ("D’Souza", "d'souza"),
        ("Anne-Marie", "anne-m"),
        ("陈", "陈"),
        ("מרים כהן", "כהן"),
        ("Null", "null"),
        ("STRASSE", "straße"),
        ("100% Cotton", "100%"),
    ],
)
def test_any_part_of_a_name_finds_it(stored: str, words: str) -> None:
    """Accents, case, apostrophes and the form of Unicode aside; a % is a sign like any other."""
    PatientFactory(full_name=stored)
    PatientFactory(full_name="Somebody Else")
    assert names(words) == [stored]


@pytest.mark.parametrize("words", ["555 0144", "(212) 555-0144", "02125550144", "+1 212 555 0144"])
def test_a_number_is_found_as_people_say_it(words: str) -> None:
    PatientFactory(full_name="Bea", phone="+12125550144")
    PatientFactory(full_name="Other", phone="+12125550155")
    assert names(words) == ["Bea"]


def test_a_date_of_birth_finds_who_was_born_then() -> None:
    PatientFactory(full_name="Bea", born=date(1991, 5, 6))
    PatientFactory(full_name="Other", born=date(1985, 4, 3))
    assert names("1991-05-06", date(1991, 5, 6)) == ["Bea"]


@pytest.mark.parametrize("words", ["a\x00b", "zzz", "_", "%%"])
def test_what_matches_nobody_finds_nobody(words: str) -> None:
    """NUL would be refused by PostgreSQL, % and _ would match everybody if they reached LIKE unescaped."""
    PatientFactory(full_name="Ada")
    assert names(words) == []


def test_nothing_asked_gives_everybody_in_one_order() -> None:
    """People of one name keep their places, so that no page shows one twice and another never."""
    twins = [PatientFactory(full_name="Ada Quill").pk for _ in range(3)]
    PatientFactory(full_name="Aaron")
    assert list(patients_find("").values_list("pk", flat=True))[1:] == sorted(twins)


def alike(**values: object) -> list[Patient]:
    return patients_alike({"full_name": "Ana Reis", "born": date(1985, 4, 3), "phone": "", "email": "", **values})


def test_the_same_name_and_birth_date_is_shown_whatever_its_spelling() -> None:
    stored = PatientFactory(full_name="Ana Réis", born=date(1985, 4, 3), email="")
    assert alike() == [stored]


def test_the_same_name_born_another_day_is_somebody_else() -> None:
    PatientFactory(full_name="Ana Reis", born=date(1999, 9, 9), email="")
    assert alike() == []


def test_the_same_name_of_unknown_birth_is_shown() -> None:
    stored = PatientFactory(full_name="Ana Reis", born=None)
    assert alike() == [stored]
    assert alike(born=None) == [stored]


def test_a_shared_telephone_or_address_is_shown() -> None:
    first = PatientFactory(full_name="X", phone="+12125550144", born=None)
    second = PatientFactory(full_name="Y", email="Ana@example.org", born=None)
    assert alike(phone="+12125550144", email="ana@EXAMPLE.org") == [first, second]


def test_a_part_of_the_name_counts_only_with_the_birth_date() -> None:
    married = PatientFactory(full_name="Ana Long", born=date(1985, 4, 3))
    PatientFactory(full_name="Ana Short", born=date(1970, 1, 1))
    assert alike() == [married]


def test_the_exact_name_stands_first() -> None:
    other = PatientFactory(full_name="Ana A", born=date(1985, 4, 3))
    exact = PatientFactory(full_name="Ana Reis", born=date(1985, 4, 3))
    assert alike() == [exact, other]
