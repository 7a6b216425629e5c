"""Keeps what identifies a person out of the log."""

import logging
import re

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


class PrivateWords(logging.Filter):
    """Rewrites the finished line, arguments and traceback included, so that no call can forget to mask."""

    def filter(self, record: logging.LogRecord) -> bool:
        # One call, one line: what somebody sent must not begin a line that nobody wrote (CWE-117).
        record.msg = without_private_words(record.getMessage()).translate(_ONE_LINE)
        record.args = None
        if record.exc_info and not record.exc_text:
            record.exc_text = logging.Formatter().formatException(record.exc_info)
        if record.exc_text:
            record.exc_text = without_private_words(record.exc_text)
        return True
