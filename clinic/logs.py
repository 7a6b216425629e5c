"""Keeps what identifies a person out of the log."""

import logging
import re
import traceback

# Longest first: a link holds digits, and a number could be cut out of its token.
_LINK = re.compile(r"/(t|u|feed)/[A-Za-z0-9_-]{8,}")
_ADDRESS = re.compile(r"[A-Za-z0-9._%+'-]+@[A-Za-z0-9.-]+")
_ONE_LINE = {code: f"\\x{code:02x}" for code in (*range(32), 0x7F, 0x85, 0x2028, 0x2029) if code != 9}
_NUMBER = re.compile(r"\+\d{6,13}(\d{2})\b")


def without_private_words(text: str) -> str:
    """text with links, mail addresses and telephone numbers masked; the last two digits of a number stay."""
    text = _LINK.sub(r"/\1/[link]", text)
    text = _ADDRESS.sub("[address]", text)
    return _NUMBER.sub(r"[number …\1]", text)


def without_its_words(fault: BaseException) -> str:
    """Type and frames of fault and of what led to it, the first one first.

    The words of an error are left out: a database quotes the row it refuses, and a name has no shape to mask it by.
    """
    chain = list[BaseException]()
    one: BaseException | None = fault
    while one is not None and one not in chain:
        chain.append(one)
        one = one.__cause__ or (None if one.__suppress_context__ else one.__context__)
    lines = list[str]()
    for each in reversed(chain):
        lines += ["Traceback (most recent call last):\n", *traceback.format_tb(each.__traceback__)]
        lines.append(f"{type(each).__module__}.{type(each).__qualname__} [its words are left out]\n")
    return "".join(lines).rstrip("\n")


class PrivateWords(logging.Filter):
    """Rewrites the finished line, arguments and traceback included, so that no call can forget to mask."""

    def filter(self, record: logging.LogRecord) -> bool:
        # One call, one line: what somebody sent must not begin a line that nobody wrote (CWE-117).
        record.msg = without_private_words(record.getMessage()).translate(_ONE_LINE)
        record.args = None
        if record.exc_info and record.exc_info[1]:
            record.exc_text = without_private_words(without_its_words(record.exc_info[1]))
        return True
