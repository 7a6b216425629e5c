"""What a list of patients from another program looks like: its encoding, its separator, its columns."""

import csv
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from clinic.rules.text import search_key

DELIMITERS = (",", ";", "\t", "|")
_GUARDED = ("=", "+", "-", "@", "\t", "\r")
_GUARD = "'"


class Column(StrEnum):
    """What a column of the file can hold. Given and family name are put together."""

    NAME = "name"
    GIVEN = "given"
    FAMILY = "family"
    BORN = "born"
    PHONE = "phone"
    EMAIL = "email"
    EXTERNAL_ID = "external_id"
    NOTE = "note"
    CALL_ME = "call_me"


SIMPLEST = (Column.NAME, Column.BORN, Column.PHONE, Column.EMAIL, Column.EXTERNAL_ID, Column.NOTE)
"""The columns of the simplest file, and of the export, in this order."""

# Headings as people write them, compared without case, accents and marks; common usage, no source.
_HEADINGS: Mapping[Column, tuple[str, ...]] = {
    Column.NAME: ("name", "full name", "patient", "patient name", "nombre completo", "nom complet", "nom et prenom"),
    Column.GIVEN: ("given name", "first name", "forename", "given", "vorname", "prenom", "nombre"),
    Column.FAMILY: ("family name", "last name", "surname", "family", "nachname", "nom de famille", "nom", "apellidos"),
    Column.BORN: (
        "born", "date of birth", "birth date", "birthdate", "birthday", "dob", "geburtsdatum", "geboren",
        "date de naissance", "fecha de nacimiento",
    ),
    Column.PHONE: (
        "phone", "telephone", "mobile", "cell", "phone number", "telephone number", "mobile number", "telefon",
        "handy", "telefono", "movil", "tel",
    ),
    Column.EMAIL: ("email", "e mail", "mail", "email address", "e mail address", "correo", "courriel"),
    Column.EXTERNAL_ID: ("external id", "id", "number", "patient id", "patient number", "no", "nr"),
    Column.NOTE: ("note", "notes", "remark", "remarks", "comment", "notiz", "nota"),
    Column.CALL_ME: ("call me", "known as", "nickname", "preferred name"),
}  # fmt: skip
_KNOWN = {heading: column for column, headings in _HEADINGS.items() for heading in headings}


@dataclass(frozen=True, slots=True)
class Encoding:
    """codec: Python's name. sure: whether the bytes themselves say so; where not, somebody has to look."""

    codec: str
    sure: bool
    why: str


class UnreadableFileError(ValueError):
    """A file that is no list with separators, with what to do about it."""


_NO_LISTS = (
    (b"PK\x03\x04", "a spreadsheet or a packed file"),  # ZIP: .ZIP File Format Specification 6.3, section 4.3.7
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "a spreadsheet of the older kind"),  # [MS-CFB] section 2.2
    (b"%PDF-", "a PDF"),  # ISO 32000-1 section 7.5.2
)


def refuse_other_files(head: bytes) -> None:
    """Raise UnreadableFileError where the first bytes are those of another kind of file, whatever its name says."""
    for mark, kind in _NO_LISTS:
        if head.startswith(mark):
            raise UnreadableFileError(f"it is {kind}, no CSV. In the program it comes from, save it as CSV (UTF-8)")


_LINE_SIGNS = frozenset("\t\n\r\x0b\x0c")  # spreadsheets break lines within a cell by the last two
_MOST_ODD = 50
"""Of so many characters one may be a control character: a stray one is its line's fault. No source."""
_SEPARATOR_LINE = re.compile(r'"?sep=.?"?', re.IGNORECASE)


def refuse_no_text(beginning: str) -> None:
    """Raise UnreadableFileError where the first characters are no text: pictures, programs, packed files.

    Text of another encoding than was told looks the same.
    """
    heading = re.split(r"[\r\n]", beginning.strip(), maxsplit=1)[0]
    odd = sum(map(_is_odd, beginning))
    if any(map(_is_odd, heading)) or odd > max(1, len(beginning) // _MOST_ODD):
        words = "it holds signs that no text has. Save the list anew as CSV (UTF-8), in the program it comes from"
        raise UnreadableFileError(words)


def _is_odd(character: str) -> bool:
    return unicodedata.category(character) == "Cc" and character not in _LINE_SIGNS


def is_separator_line(line: str) -> bool:
    """Whether a line above the heading only tells some spreadsheets the separator, as in sep=; (common practice)."""
    return _SEPARATOR_LINE.fullmatch(line.strip()) is not None


def encoding_of(head: bytes, *, is_utf8: bool) -> Encoding:
    """Tell the encoding from the first bytes (some thousands are enough) and whether all of it is valid UTF-8.

    Byte order marks as in RFC 3629 section 6 and Unicode 16 section 23.8; UTF-16 without one is known by its zero
    bytes. What is none of these is taken for Windows-1252, the usual one of spreadsheets in western Europe and
    America (common practice, no source), and is not sure: other code pages have the same bytes.
    """
    marks = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))
    for mark, codec in marks:
        if head.startswith(mark):
            return Encoding(codec, sure=True, why="the file says so itself")
    pairs = head[: len(head) // 2 * 2]
    if pairs and pairs[1::2].count(0) * 2 > len(pairs) // 2:
        return Encoding("utf-16-le", sure=True, why="every second byte is zero")
    if pairs and pairs[0::2].count(0) * 2 > len(pairs) // 2:
        return Encoding("utf-16-be", sure=True, why="every second byte is zero")
    if is_utf8:
        return Encoding("utf-8", sure=True, why="every character fits")
    return Encoding("cp1252", sure=False, why="it is not UTF-8, and old spreadsheets mostly write this")


def heading_key(heading: str) -> str:
    """What headings are compared by."""
    return " ".join("".join(one if one.isalnum() else " " for one in search_key(heading)).split())


def columns_of(headings: Sequence[str]) -> dict[Column, int]:
    """Which of the headings are known, by position; of two that mean the same the first counts."""
    found: dict[Column, int] = {}
    for position, heading in enumerate(headings):
        column = _KNOWN.get(heading_key(heading))
        if column is not None:
            found.setdefault(column, position)
    if Column.NAME in found:
        found.pop(Column.GIVEN, None)
        found.pop(Column.FAMILY, None)
    return found


def delimiter_of(first_line: str) -> str:
    """The separator with which the heading line has the most known columns, then the most columns at all."""

    def fitness(delimiter: str) -> tuple[int, int]:
        headings = cells_of(first_line, delimiter)
        return len(columns_of(headings)), len(headings)

    return max(DELIMITERS, key=fitness)


def cells_of(line: str, delimiter: str) -> list[str]:
    """One line's cells."""
    return next(csv.reader([line], delimiter=delimiter), [])


def mapping_missing(mapping: Mapping[Column, int]) -> str:
    """What keeps a choice of columns from being used, in words; empty where nothing does."""
    if Column.NAME in mapping or Column.FAMILY in mapping or Column.GIVEN in mapping:
        return ""
    return "Say which column holds the name: without it nobody can be entered."


def mapping_named(words: Iterable[str], headings: Sequence[str]) -> dict[Column, int]:
    """Read "name=Full name"-like choices of columns. Raises UnreadableFileError that says what can be chosen."""
    places = {heading_key(heading): position for position, heading in enumerate(headings)}
    chosen: dict[Column, int] = {}
    for word in words:
        column, _, heading = word.partition("=")
        if column.strip() not in set(Column):
            raise UnreadableFileError(f"there is no column {column.strip()!r}; there are {', '.join(Column)}")
        if heading_key(heading) not in places:
            raise UnreadableFileError(f"the file has no heading {heading.strip()!r}; it has {', '.join(headings)}")
        chosen[Column(column.strip())] = places[heading_key(heading)]
    return chosen


def guarded(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula (OWASP, CSV Injection); `unguarded` gives it back unchanged."""
    return _GUARD + cell if cell.lstrip(_GUARD).startswith(_GUARDED) else cell


def unguarded(cell: str) -> str:
    """Undo `guarded`."""
    plain = cell.lstrip(_GUARD)
    return cell[1:] if cell.startswith(_GUARD) and plain.startswith(_GUARDED) else cell
