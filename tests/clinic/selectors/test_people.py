"""Finding patients, and those alike."""

from datetime import date
from importlib import import_module
from types import SimpleNamespace

import pytest
from django.apps import apps
from django.db import connection

from clinic.models import Patient
from clinic.selectors import patients_alike, patients_find, patients_slice
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
        ("Ada O'Fenwick", "OFenwick"),
        ("Ada O’Fenwick", "ada o'fen"),
        ("Anne-Marie", "annemarie"),
        ("Anne-Marie", "marie anne"),
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


@pytest.mark.parametrize("words", ["0144", "555-0144", "50144", "0 1 4 4"])
def test_the_last_digits_of_a_number_find_it(words: str) -> None:
    PatientFactory(full_name="Bea", phone="+12125550144")
    PatientFactory(full_name="Other", phone="+12125551440")
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


def test_a_name_whose_letters_unfold_into_many_is_still_stored() -> None:
    stored = PatientFactory(full_name="\ufdfa" * 200)
    assert len(stored.search_text) == 500
    assert names("\ufdfa") == [stored.full_name]


def test_names_stored_before_are_found_without_their_apostrophes() -> None:
    patient = PatientFactory(full_name="Ada O'Fenwick")
    Patient.objects.filter(pk=patient.pk).update(search_text="ada o'fenwick")
    assert names("OFenwick") == []
    migration = import_module("clinic.migrations.0004_patient_search")
    migration.keys(apps, SimpleNamespace(connection=connection))
    assert names("OFenwick") == ["Ada O'Fenwick"]


def many_patients() -> None:
    """So many that the planner chooses as it does in a clinic of years."""
    rows = (Patient(full_name=f"Person {n}", search_text=f"person {n}", born=date(1950, 1, 1)) for n in range(5000))
    Patient.objects.bulk_create(rows)
    with connection.cursor() as cursor:
        # what was just added waits in a list that is read whole, until a vacuum sorts it in
        cursor.execute(
            "SELECT gin_clean_pending_list('patient_search_parts'), gin_clean_pending_list('patient_phone_parts')"
        )
        cursor.execute("ANALYZE clinic_patient")


@pytest.mark.skipif(connection.vendor != "postgresql", reason="needs DATABASE_URL to name a PostgreSQL database")
def test_any_part_of_a_name_is_found_by_an_index() -> None:
    many_patients()
    plan = patients_find("quill").order_by().explain()
    assert "patient_search_parts" in plan


@pytest.mark.skipif(connection.vendor != "postgresql", reason="needs DATABASE_URL to name a PostgreSQL database")
def test_a_day_of_birth_is_found_by_an_index_beside_the_name() -> None:
    many_patients()
    plan = patients_find("4 March 1985", date(1985, 3, 4)).order_by().explain()
    assert "patient_born" in plan
    assert "Seq Scan" not in plan


@pytest.mark.skipif(connection.vendor != "postgresql", reason="needs DATABASE_URL to name a PostgreSQL database")
@pytest.mark.parametrize("words", ["%", "%_'", "100%", "a/b"])
def test_signs_that_few_names_hold_are_found_by_an_index(words: str) -> None:
    """Trigrams hold no signs: without it such a search reads everybody."""
    many_patients()
    plan = patients_find(words).explain()
    assert "patient_with_signs" in plan or "patient_search_parts" in plan
    assert "Seq Scan" not in plan


@pytest.mark.parametrize("name", ["Ada 100%", "A/B Quill", "Al <3", "A_B", "D~E", "Q & A", "O'Neil", "R2-D2", "X.Y"])
def test_signs_in_names_are_found_as_they_are(name: str) -> None:
    PatientFactory(full_name="Ada Quill")
    PatientFactory(full_name=name)
    signs = "".join(letter for letter in name if not letter.isalnum() and letter != " ")
    assert names(signs) == names(name) == [name]


def test_a_late_page_is_reached_by_the_index_alone() -> None:
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET LOCAL enable_seqscan = off")
            cursor.execute("SET LOCAL enable_bitmapscan = off")
    plan = patients_find("").values_list("pk")[900:930].explain()
    assert ("Index Only Scan" if connection.vendor == "postgresql" else "COVERING INDEX") in plan
    assert "patient_in_order" in plan
    assert "sort" not in plan.lower()


def test_a_slice_keeps_its_order() -> None:
    made = [PatientFactory(full_name=name) for name in ("Cy", "Ada", "Bo", "Dag")]
    assert patients_slice(patients_find(""), 1, 2) == [made[2], made[0]]
    assert patients_slice(patients_find(""), 9, 2) == []
