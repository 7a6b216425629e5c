"""Lists from other programs: encodings, separators, headings, and cells a spreadsheet would run."""

import csv
import io
import zipfile

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clinic.rules.csv_form import (
    Column,
    UnreadableFileError,
    cells_of,
    columns_of,
    delimiter_of,
    encoding_of,
    guarded,
    heading_key,
    is_separator_line,
    mapping_missing,
    mapping_named,
    refuse_no_text,
    refuse_other_files,
    unguarded,
)


@pytest.mark.parametrize(
    ("head", "is_utf8", "codec", "sure"),
    [
        (b"\xef\xbb\xbfname", True, "utf-8-sig", True),
        ("name\tborn".encode("utf-16"), False, "utf-16", True),
        (b"\xfe\xff" + "name".encode("utf-16-be"), False, "utf-16", True),
        ("name\tborn".encode("utf-16-le"), True, "utf-16-le", True),
        ("name\tborn".encode("utf-16-be"), True, "utf-16-be", True),
        (b"name", True, "utf-8", True),
        (b"", True, "utf-8", True),
        (b"name\nO\x92Neil", False, "cp1252", False),
    ],
)
def test_the_encoding_is_told_against_the_marks_of_unicode(head: bytes, is_utf8: bool, codec: str, sure: bool) -> None:
    """Byte order marks: Unicode 16, section 23.8; RFC 3629, section 6. Code page 1252 by Python's codec."""
    found = encoding_of(head, is_utf8=is_utf8)
    assert (found.codec, found.sure) == (codec, sure)
    assert found.why


def test_a_curly_apostrophe_of_an_old_spreadsheet_is_not_the_control_character_of_latin_1() -> None:
    codec = encoding_of(b"name\nO\x92Neil", is_utf8=False).codec
    assert b"O\x92Neil".decode(codec) == "O’Neil"


@pytest.mark.parametrize(
    ("line", "delimiter"),
    [
        ("name;dob;areas;marks;note", ";"),
        ("name,born,phone", ","),
        ("Vorname\tNachname\tGeburtsdatum", "\t"),
        ("name|born|a,b,c,d", "|"),
        ("name", ","),
        ('"name, full";born', ";"),
        ("one;two;three", ";"),
    ],
)
def test_the_separator_is_the_one_with_which_the_heading_is_understood(line: str, delimiter: str) -> None:
    assert delimiter_of(line) == delimiter


def test_headings_are_understood_without_case_accents_and_marks() -> None:
    headings = ["E-Mail", "PRÉNOM", "Nom de famille", "date_of_birth", "Mobile  Number", "shoe size", "phone"]
    assert columns_of(headings) == {
        Column.EMAIL: 0,
        Column.GIVEN: 1,
        Column.FAMILY: 2,
        Column.BORN: 3,
        Column.PHONE: 4,
    }


def test_a_full_name_needs_no_parts() -> None:
    assert columns_of(["First name", "Last name", "Full name"]) == {Column.NAME: 2}


@pytest.mark.parametrize(
    ("mapping", "missing"),
    [
        ({Column.BORN: 0}, True),
        ({}, True),
        ({Column.NAME: 0}, False),
        ({Column.FAMILY: 0}, False),
        ({Column.GIVEN: 1}, False),
    ],
)
def test_without_a_name_nobody_can_be_entered(mapping: dict[Column, int], missing: bool) -> None:
    assert bool(mapping_missing(mapping)) is missing


def test_columns_can_be_named_by_hand() -> None:
    assert mapping_named(["born=Birthday Party", "name = WHO"], ["who", "birthday-party"]) == {
        Column.BORN: 1,
        Column.NAME: 0,
    }


@pytest.mark.parametrize("word", ["shoe=who", "born=when", "born"])
def test_a_column_that_does_not_exist_is_said(word: str) -> None:
    with pytest.raises(UnreadableFileError, match=r"there is no column|has no heading"):
        mapping_named([word], ["who"])


def test_an_empty_line_has_no_cells() -> None:
    assert cells_of("", ",") == []
    assert heading_key(" E-Mail_address ") == "e mail address"


@pytest.mark.parametrize("cell", ["=1+1", "+1 212", "-x", "@sum", "\tx", "\rx", "'=x", "''=x"])
def test_no_spreadsheet_runs_a_cell_against_owasp_csv_injection(cell: str) -> None:
    """OWASP, CSV Injection: cells that begin with = + - @, tab or carriage return are run as formulas."""
    assert guarded(cell) == "'" + cell
    assert unguarded(guarded(cell)) == cell


@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00")), min_size=1))
def test_what_is_written_is_read_again(cells: list[str]) -> None:
    out = io.StringIO(newline="")
    csv.writer(out).writerow([guarded(cell) for cell in cells])
    read = next(csv.reader(io.StringIO(out.getvalue(), newline="")))
    assert [unguarded(cell) for cell in read] == cells


def packed() -> bytes:
    """What a newer spreadsheet program saves begins like any packed file; this one is made by the standard library."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as archive:
        archive.writestr("xl/workbook.xml", "<workbook/>")
    return made.getvalue()


@pytest.mark.parametrize(
    ("head", "kind"),
    [
        (packed(), "a spreadsheet or a packed file"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(8), "a spreadsheet of the older kind"),
        (b"%PDF-1.7", "a PDF"),
    ],
)
def test_another_kind_of_file_is_told_by_its_first_bytes(head: bytes, kind: str) -> None:
    with pytest.raises(UnreadableFileError, match=f"it is {kind}, no CSV"):
        refuse_other_files(head)


def test_a_list_is_no_other_kind_of_file() -> None:
    refuse_other_files(b"name,born\nPK Lund,1990-12-01\n")


@pytest.mark.parametrize(
    "beginning",
    [
        "\x89PNG\r\n\x1a\n\x00\x00IHDR",
        "MZ\x90\x00\x03\x00",
        "\x1f\x8b\x08\x00list",
        "na\x00me,born\nAna Reis,1985-03-04\n",
        "name,born\nA\x00n\x00a\x00,1985-03-04\n",
    ],
)
def test_what_is_no_text_is_refused_whatever_its_name_says(beginning: str) -> None:
    with pytest.raises(UnreadableFileError, match="signs that no text has"):
        refuse_no_text(beginning)


@pytest.mark.parametrize(
    "beginning",
    [
        "",
        "name\rAna\x00\rBo\r",
        "name,note\nAna,a\x0bb\x0bc\x0cd\n",
        "name\tborn\r\nAna\t1985-03-04\r\n",
        "name,born\nAna\x00,1985-03-04\n",
        "שם,נולד\nמרים\u200f,1985-03-04\n",
    ],
)
def test_text_with_one_stray_sign_is_a_list(beginning: str) -> None:
    refuse_no_text(beginning)


@pytest.mark.parametrize(
    ("line", "tells"),
    [("sep=;", True), ('"sep=|"\n', True), ("SEP=\t", True), ("sep", False), ("separator;name", False)],
)
def test_a_line_that_tells_a_spreadsheet_the_separator_is_known(line: str, tells: bool) -> None:
    assert is_separator_line(line) is tells
