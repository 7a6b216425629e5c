"""People's names and other single lines: kept as typed, without what cannot be seen, and found again."""

import re
import unicodedata

LONGEST_NAME = 200

_BIDI = "\u200e\u200f\u061c\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
_INVISIBLE = "\u200b\u2060\ufeff\u00ad"
_REMOVED = str.maketrans("", "", _BIDI + _INVISIBLE)
_JOINERS = "\u200c\u200d"
_LOOSE_JOINER = re.compile(f"(?<![^ ])[{_JOINERS}]+|[{_JOINERS}]+(?![^ ])")
_FORBIDDEN = frozenset({"Cc", "Cs", "Zl", "Zp"})
_ALIKE = str.maketrans(
    {**dict.fromkeys("\u2018\u2019\u02bc\u02b9`\u00b4", "'"), **dict.fromkeys("\u2010\u2011\u2012\u2013", "-")}
)
_JOINING = str.maketrans("", "", "'-")
_ASCII = str.maketrans({**{chr(code): " " for code in (*range(0x20), 0x7F)}, "`": "'"})


class UnusableTextError(ValueError):
    """A line that cannot be kept, with what to do about it."""


def normalise_line(text: str, *, longest: int) -> str:
    """Return a single line as it is stored: composed (NFC), trimmed, single ordinary spaces.

    Invisible characters and those that turn the direction of writing are removed, since they make two equal
    names differ or show one as another; the joiners some scripts need stay inside words. The result may be
    empty. Raises UnusableTextError for control characters, line breaks and NUL among them, and for more than
    `longest` characters.
    """
    for character in text:
        if unicodedata.category(character) in _FORBIDDEN:
            msg = f"the character U+{ord(character):04X} cannot be kept in a single line: remove it"
            raise UnusableTextError(msg)
    # composed last: an invisible character may have stood between a letter and its mark
    spaced = " ".join(unicodedata.normalize("NFC", text.translate(_REMOVED)).split())
    line = " ".join(_LOOSE_JOINER.sub("", spaced).split())
    if len(line) > longest:
        msg = f"{len(line)} characters are too long: at most {longest} fit"
        raise UnusableTextError(msg)
    return line


def normalise_name(text: str, *, longest: int = LONGEST_NAME) -> str:
    """Return a person's name as it is stored; any name of 1 to `longest` characters is a name.

    Raises UnusableTextError where nothing visible is left, and as `normalise_line` does.
    """
    name = normalise_line(text, longest=longest)
    if not any(unicodedata.category(character)[0] in "LNPS" for character in name):
        msg = "a name is needed: nothing that can be read was written"
        raise UnusableTextError(msg)
    return name


def search_key(text: str) -> str:
    """Return what stored and searched text are compared by: no case, no marks, plain apostrophes and hyphens.

    Works on any string, a query with control characters included; the key of a key is itself.
    """
    if text.isascii():  # the same, without the detour over every single character: lists have thousands of names
        return " ".join(text.translate(_ASCII).lower().split())
    folded = unicodedata.normalize("NFKD", text.translate(_ALIKE)).casefold()
    plain = (_key_part(character) for character in unicodedata.normalize("NFKD", folded))
    return " ".join("".join(plain).split())


def find_key(name: str, *, longest: int = 500) -> str:
    """Return what a stored name is found by: its search key, and its words again without apostrophes and hyphens.

    So "OFenwick" finds O'Fenwick. At most `longest` characters: some letters unfold into many.
    """
    key = search_key(name)
    joined = [word.translate(_JOINING) for word in key.split() if word.translate(_JOINING) not in ("", word)]
    return " ".join([key, *joined])[:longest]


def greeting(hello: str, call_me: str) -> str:
    """Return "Hello Ada", or "Hello" alone where nobody said what to call them; never the full name."""
    return f"{hello} {name}" if (name := normalise_line(call_me, longest=LONGEST_NAME)) else hello


def _key_part(character: str) -> str:
    if unicodedata.combining(character) or unicodedata.category(character) == "Cf":
        return ""
    if unicodedata.category(character) in _FORBIDDEN:
        return " "
    return character.translate(_ALIKE)
