"""Telephone numbers: what people write, turned into E.164 (ITU-T), and whether a text message can reach it."""

import re
import unicodedata
from dataclasses import dataclass

import phonenumbers
from phonenumbers import NumberParseException, PhoneNumber, PhoneNumberFormat, PhoneNumberType, ValidationResult

_EXTENSION = re.compile(r"(?:;ext=|,?\s*\b(?:ext|extension)\.?\s*|\s+x\s*)(\d{1,7})$", re.IGNORECASE)
_MARKS = frozenset("+-./() ")
_NO_TEXTS = frozenset(
    {
        PhoneNumberType.FIXED_LINE,
        PhoneNumberType.TOLL_FREE,
        PhoneNumberType.PREMIUM_RATE,
        PhoneNumberType.SHARED_COST,
        PhoneNumberType.UAN,
        PhoneNumberType.VOICEMAIL,
    }
)


class UnusablePhone(ValueError):
    """What was written is no telephone number; the text says what to write."""


@dataclass(frozen=True, slots=True)
class Phone:
    """number: E.164, such as +12125550123; extension: digits or ""."""

    number: str
    extension: str
    gets_texts: bool


def phone_read(text: str, country: str) -> Phone:
    """Read a number as written in country (ISO 3166 letters); with + or 00 it may be of any country.

    Letters are refused, because a parser would turn them into the digits of a keypad: "call mum" is no number.
    """
    plain, extension = _split(text)
    wrong = {character for character in plain if not character.isdecimal() and character not in _MARKS}
    if any(character.isalpha() for character in wrong):
        raise UnusablePhone("A telephone number has no letters. Write digits only, and an extension as “ext 12”.")
    if wrong or not plain:
        raise UnusablePhone("Write the telephone number with digits, spaces and + only, such as +1 212 555 0123.")
    number = _parse(plain, country)
    kind = phonenumbers.number_type(number)
    return Phone(
        number=phonenumbers.format_number(number, PhoneNumberFormat.E164),
        extension=extension,
        gets_texts=not extension and kind not in _NO_TEXTS,
    )


def gets_texts(number: str) -> bool:
    """Whether a text message can reach a stored E.164 number, as far as its numbering plan tells."""
    try:
        return phone_read(number, "ZZ").gets_texts
    except UnusablePhone:
        return False


def phone_shown(number: str) -> str:
    """A stored number in the spacing of its country, international form; anything else as it is."""
    try:
        return phonenumbers.format_number(phonenumbers.parse(number, None), PhoneNumberFormat.INTERNATIONAL)
    except NumberParseException:
        return number


def _split(text: str) -> tuple[str, str]:
    """The number and its extension. Marks that cannot be seen are dropped, full-width and other digits folded."""
    seen = "".join(character for character in text if unicodedata.category(character) != "Cf")
    folded = "".join(_digit(character) for character in unicodedata.normalize("NFKC", seen))
    for dash in "\u2010\u2011\u2012\u2013\u2014\u2212":
        folded = folded.replace(dash, "-")
    plain = " ".join(folded.split())
    found = _EXTENSION.search(plain)
    return (plain[: found.start()].strip(), found.group(1)) if found else (plain, "")


def _digit(character: str) -> str:
    return str(unicodedata.decimal(character)) if character.isdecimal() else character


def _parse(plain: str, country: str) -> PhoneNumber:
    if plain.startswith("00"):
        plain = "+" + plain[2:]
    try:
        number = phonenumbers.parse(plain, country)
    except NumberParseException as unreadable:
        raise UnusablePhone("This is no telephone number. Write it with the area code, or with + in front.") from (
            unreadable
        )
    # Seven digits that only a neighbour can dial are "possible" to the library, and reach nobody from here.
    if phonenumbers.is_possible_number_with_reason(number) != ValidationResult.IS_POSSIBLE:
        raise UnusablePhone("This number has too few or too many digits. Write it with the area code.")
    return number
