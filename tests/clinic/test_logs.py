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


def test_a_traceback_is_masked_too() -> None:
    try:
        raise ValueError("550 no mailbox ada@example.org")
    except ValueError as fault:
        record = logging.LogRecord("x", logging.ERROR, "f", 1, "failed", (), (type(fault), fault, fault.__traceback__))
    text = _line(record)
    assert "ada@example.org" not in text
    assert "550 no mailbox [address]" in text


@pytest.mark.parametrize("end", ["\n", "\r\n", "\x85", "\u2028", "\x1b[2K"])
def test_what_somebody_sent_begins_no_line_of_its_own(end: str) -> None:
    record = logging.LogRecord("x", logging.INFO, "f", 1, "Not Found: %s", (f"/x{end}2027 INFO logged in",), None)
    text = _line(record)
    assert len(text.splitlines()) == 1
    assert "\x1b" not in text
    assert text.endswith("2027 INFO logged in")
