"""What identifies a person never reaches the log, however the call was written."""

import logging

import pytest

from clinic.logs import PrivateWords, without_private_words

LINK = "https://tape.example.org/t/Zm9vYmFyYmF6cXV4MTIz-_4/off/"


@pytest.mark.parametrize(
    ("written", "kept"),
    [
        (f"GET {LINK}", "GET https://tape.example.org/t/[link]/off/"),
        ("GET /feed/Zm9vYmFyYmF6cXV4MTIz-_4/visits.ics", "GET /feed/[link]/visits.ics"),
        ("/u/Zm9vYmFyYmF6cXV4MTIz/", "/u/[link]/"),
        ("mail to ada.quill+tape@example.org refused", "mail to [address] refused"),
        ("text to +12125550123 refused", "text to [number …23] refused"),
        ("message 4711 in 2027-03-10T15:00:00+00:00", "message 4711 in 2027-03-10T15:00:00+00:00"),
    ],
)
def test_masks_what_identifies_and_keeps_the_rest(written: str, kept: str) -> None:
    assert without_private_words(written) == kept


def _line(record: logging.LogRecord) -> str:
    assert PrivateWords().filter(record)
    return logging.Formatter("%(message)s").format(record)


def test_arguments_are_masked_too() -> None:
    record = logging.LogRecord("x", logging.INFO, "f", 1, "to %s by %s", ("+12125550123", "a@example.org"), None)
    assert _line(record) == "to [number …23] by [address]"


NAME = "Ada Quill"


def _raised(name: str) -> None:
    try:
        raise LookupError(f"no patient {name}")
    except LookupError as fault:
        raise ValueError(f"Key (full_name)=({name}) exists, ada@example.org") from fault


def test_an_error_tells_its_kind_and_place_and_none_of_its_words() -> None:
    """Not those of what led to it either, whatever another handler wrote of them before."""
    try:
        _raised(NAME)
    except ValueError as fault:
        record = logging.LogRecord("x", logging.ERROR, "f", 1, "failed", (), (type(fault), fault, fault.__traceback__))
    logging.Formatter("%(message)s").format(record)
    assert "Quill" in str(record.exc_text)
    text = _line(record)
    assert "Quill" not in text
    assert "example.org" not in text
    kinds = [line for line in text.splitlines() if not line.startswith(" ")]
    begins = "Traceback (most recent call last):"
    left_out = "[its words are left out]"
    assert kinds == ["failed", begins, f"builtins.LookupError {left_out}", begins, f"builtins.ValueError {left_out}"]
    assert text.count("in _raised\n") == 2


@pytest.mark.parametrize("end", ["\n", "\r\n", "\x85", "\u2028", "\x1b[2K"])
def test_what_somebody_sent_begins_no_line_of_its_own(end: str) -> None:
    record = logging.LogRecord("x", logging.INFO, "f", 1, "Not Found: %s", (f"/x{end}2027 INFO logged in",), None)
    text = _line(record)
    assert len(text.splitlines()) == 1
    assert "\x1b" not in text
    assert text.endswith("2027 INFO logged in")
