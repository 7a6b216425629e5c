"""One line of a list, read: what it says about a person, or why it cannot be used."""

import json
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from hashlib import blake2b
from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from clinic.rules.ages import DateOrder, UnreadableDateError
from clinic.rules.csv_form import Column, unguarded
from clinic.rules.import_dates import AmbiguousDateError, read_date
from clinic.rules.mail_address import UnusableAddress, wire_address
from clinic.rules.text import UnusableTextError, find_key, normalise_line, normalise_name
from clinic.services.import_file import Record
from clinic.services.phone_numbers import UnusablePhone, phone_read

LONGEST_NOTE = 2000
_ROUNDED = re.compile(r"\d+([.,]\d+)?e\+?\d+", re.IGNORECASE | re.ASCII)
_ZEROS = re.compile(r"0{6,}$")
# A spreadsheet keeps six digits of a number it shows by its power of ten; spelt out again, the rest are zeros.
_SPELT_OUT = re.compile(r"\+?[1-9]\d{0,5}0{4,}", re.ASCII)
_DECIMAL = re.compile(r"\+?\d{7,}\.0+", re.ASCII)


@dataclass(frozen=True, slots=True)
class Reading:
    """How a file is read. width: the heading's columns. order: None where the order of its dates is not known.

    latest: the clinic's date.
    """

    mapping: Mapping[Column, int]
    width: int
    order: DateOrder | None
    country: str
    latest: date
    codec_sure: bool


@dataclass
class ReadLine:
    """values: by Patient's names of fields, only what the line says. refused and doubts: in words, or empty.

    gets_texts: whether its number can be a mobile.
    """

    line: int
    cells: list[str]
    values: dict[str, Any] = field(default_factory=dict)
    refused: list[str] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)
    gets_texts: bool = False

    @cached_property
    def name_key(self) -> str:
        return find_key(self.values.get("full_name", ""))


def line_read(record: Record, reading: Reading) -> ReadLine:
    """Read one line. Nothing is guessed, and nothing a spreadsheet has rounded is spelt out again."""
    cells = record.cells
    read = ReadLine(record.line, list(cells))
    if len(cells) > reading.width and any(cell.strip() for cell in cells[reading.width :]):
        read.refused.append(f"It has {len(cells)} columns, and the heading {reading.width}.")
    texts = {column: _cell(cells, place) for column, place in reading.mapping.items()}
    for column, text in texts.items():
        if "\x00" in text:
            read.refused.append(f"The {column} holds a null character, which cannot be kept.")
        elif "\ufffd" in text:
            read.refused.append(f"The {column} holds a character that this encoding does not have.")
    if read.refused:
        return read
    if record.cut:
        read.doubts.append("The file ends in the middle of this line: it may have been cut off.")
    if record.torn:
        read.doubts.append("It holds whole other lines: a quotation mark may be missing here, or one too many.")
    if not reading.codec_sure and any(not text.isascii() for text in texts.values()):
        read.doubts.append("It holds letters outside ASCII, and the file's encoding is a guess: say which it is.")
    _name(read, texts)
    _born(read, texts.get(Column.BORN, ""), reading)
    _phone(read, texts.get(Column.PHONE, ""), reading.country)
    _email(read, texts.get(Column.EMAIL, ""))
    _lines(read, texts)
    return read


def key_of(*parts: str) -> int:
    """A signed 64-bit hash, for an indexed column."""
    return int.from_bytes(blake2b("\n".join(parts).encode(), digest_size=8).digest(), "big", signed=True)


def stored_form(values: Mapping[str, Any]) -> dict[str, Any]:
    """Values as JSON keeps them: the date as ISO 8601."""
    return {name: value.isoformat() if isinstance(value, date) else value for name, value in values.items()}


def from_stored(values: Mapping[str, Any]) -> dict[str, Any]:
    """Undo `stored_form`."""
    return {name: date.fromisoformat(value) if name == "born" else value for name, value in values.items()}


def digest_of(values: Mapping[str, Any]) -> int:
    """Equal for lines that say the same."""
    return key_of(json.dumps(stored_form(values), sort_keys=True))


def _cell(cells: Sequence[str], place: int) -> str:
    return unguarded(cells[place]).strip() if place < len(cells) else ""


def _name(read: ReadLine, texts: Mapping[Column, str]) -> None:
    whole = texts.get(Column.NAME) or " ".join(
        part for part in (texts.get(Column.GIVEN, ""), texts.get(Column.FAMILY, "")) if part
    )
    try:
        read.values["full_name"] = normalise_name(whole)
    except UnusableTextError as unusable:
        read.refused.append(f"Name: {unusable}.")


def _born(read: ReadLine, text: str, reading: Reading) -> None:
    if not text:
        return
    try:
        read.values["born"] = read_date(text, reading.order, latest=reading.latest)
    except AmbiguousDateError as ambiguous:
        read.doubts.append(f"Date of birth: {ambiguous}.")
    except UnreadableDateError as unreadable:
        read.refused.append(f"Date of birth: {unreadable}.")


def _phone(read: ReadLine, text: str, country: str) -> None:
    if not text:
        return
    bare = text.replace(" ", "")
    if _ROUNDED.fullmatch(bare):
        words = f"{text} was rounded by a spreadsheet, and the digits are lost: write the number out"
        read.refused.append(f"Telephone: {words}.")
        return
    if _DECIMAL.fullmatch(bare):
        read.refused.append(f"Telephone: {text} has decimals, which would be dialled: write it without them.")
        return
    try:
        phone = phone_read(text, country)
    except UnusablePhone as unusable:
        read.refused.append(f"Telephone: {unusable}")
        return
    if phone.extension:
        read.refused.append("Telephone: only a direct number can be reached; move the extension into the note.")
    elif _ZEROS.search(phone.number) or _SPELT_OUT.fullmatch(text):
        read.doubts.append(f"Telephone: {text} ends in many zeros and may have been rounded by a spreadsheet.")
    read.values["phone"], read.gets_texts = phone.number, phone.gets_texts


def _email(read: ReadLine, text: str) -> None:
    if not text:
        return
    if any(unicodedata.category(character) == "Cf" for character in text):
        read.refused.append("E-mail: the address holds a character that cannot be seen.")
        return
    try:
        validate_email(text)
        wire_address(text)
    except ValidationError:
        read.refused.append(f"E-mail: {text[:80]} is no address; write it like name@example.org.")
        return
    except UnusableAddress as unusable:
        read.refused.append(f"E-mail: {unusable}")
        return
    read.values["email"] = text


def _lines(read: ReadLine, texts: Mapping[Column, str]) -> None:
    for column, name, longest in ((Column.EXTERNAL_ID, "external_id", 80), (Column.CALL_ME, "call_me", 80)):
        try:
            kept = normalise_line(texts.get(column, ""), longest=longest)
        except UnusableTextError as unusable:
            read.refused.append(f"{column}: {unusable}.")
            continue
        if kept:
            read.values[name] = kept
    note = texts.get(Column.NOTE, "")
    if len(note) > LONGEST_NOTE:
        read.refused.append(f"Note: {len(note)} characters are too long; at most {LONGEST_NOTE} fit.")
    elif note:
        read.values["note"] = "\n".join(unicodedata.normalize("NFC", note).splitlines())
