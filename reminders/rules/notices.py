"""What a gateway or a mail server tells by webhook, read from its JSON, and what a receipt does to a message."""

import json
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from reminders.rules.outbox import MessageState

LONGEST_ID = 100
LONGEST_REFERENCE = 200
LONGEST_TEXT = 4000
LONGEST_WHY = 120
_NUMBER = re.compile(r"\+[1-9][0-9]{6,14}")
_MAIL_ID = re.compile(r"<?([0-9a-f]{32})@[^<>@\s]+>?")


class Unreadable(ValueError):
    """The notice is none; the text says what is wrong and holds nothing of what was sent."""


class News(StrEnum):
    """What became of a message after it was handed over. DELAYED: the other side is still trying."""

    DELIVERED = "delivered"
    UNDELIVERED = "undelivered"
    DELAYED = "delayed"


class Effect(StrEnum):
    """What a receipt does: NOTHING; WAIT until the message's own mark is there; ARRIVED; LOST; NOTED."""

    NOTHING = "nothing"
    WAIT = "wait"
    ARRIVED = "arrived"
    LOST = "lost"
    NOTED = "noted"


@dataclass(frozen=True, slots=True)
class ReplyNotice:
    """A text from a telephone number (E.164)."""

    id: str
    number: str
    text: str


@dataclass(frozen=True, slots=True)
class ReceiptNotice:
    """News of the message called reference: the id the gateway gave it, its idempotency key, or its Message-ID.

    for_good: the address itself is at fault, and nothing more should go there.
    """

    id: str
    reference: str
    news: News
    for_good: bool = False
    why: str = ""


def read_reply(body: bytes) -> ReplyNotice:
    """{"id", "from", "text"}. Raises Unreadable."""
    values = _object(body)
    number = _words(values, "from", 20)
    if not _NUMBER.fullmatch(number):
        raise Unreadable('"from" is no number such as +12125550123')
    return ReplyNotice(_words(values, "id", LONGEST_ID), number, _words(values, "text", LONGEST_TEXT, lines=True))


def read_receipt(body: bytes) -> ReceiptNotice:
    """{"id", "message", "state": "delivered" or "undelivered", "for_good", "why"}. Raises Unreadable."""
    values = _object(body)
    state = _words(values, "state", LONGEST_ID)
    if state not in (News.DELIVERED, News.UNDELIVERED):
        raise Unreadable('"state" is neither "delivered" nor "undelivered"')
    for_good = values.get("for_good", False)
    if not isinstance(for_good, bool):
        raise Unreadable('"for_good" is neither true nor false')
    return _about(values, News(state), for_good=for_good and state == News.UNDELIVERED)


def read_bounce(body: bytes) -> ReceiptNotice:
    """{"id", "message", "kind": "hard" or "soft", "why"}. A soft one is still being tried. Raises Unreadable."""
    values = _object(body)
    kind = _words(values, "kind", LONGEST_ID)
    if kind not in ("hard", "soft"):
        raise Unreadable('"kind" is neither "hard" nor "soft"')
    hard = kind == "hard"
    return _about(values, News.UNDELIVERED if hard else News.DELAYED, for_good=hard)


def key_in(reference: str) -> str | None:
    """The message's key as 32 hexadecimal digits, where the reference is one or a Message-ID made from one."""
    mail = _MAIL_ID.fullmatch(reference.lower())
    digits = mail.group(1) if mail else reference.lower().replace("-", "")
    return digits if re.fullmatch(r"[0-9a-f]{32}", digits) else None


def effect_of(news: News, state: MessageState) -> Effect:
    """What news means for a message in this state.

    A message on its way has no mark of its own yet: its receipt waits. One that was planned anew, given up or
    dropped since has a story of its own, and old news does not change it.
    """
    if state in (MessageState.CLAIMED, MessageState.SENDING):
        return Effect.WAIT
    if state not in (MessageState.SENT, MessageState.UNCERTAIN):
        return Effect.NOTHING
    return {News.DELIVERED: Effect.ARRIVED, News.UNDELIVERED: Effect.LOST, News.DELAYED: Effect.NOTED}[news]


def _about(values: Mapping[str, Any], news: News, *, for_good: bool) -> ReceiptNotice:
    why = _words(values, "why", LONGEST_TEXT) if "why" in values else ""
    return ReceiptNotice(
        _words(values, "id", LONGEST_ID),
        _words(values, "message", LONGEST_REFERENCE),
        news,
        for_good,
        why[:LONGEST_WHY],
    )


def _object(body: bytes) -> Mapping[str, Any]:
    try:
        values = json.loads(body.decode("utf-8"))
    except (ValueError, RecursionError) as garbage:
        raise Unreadable("the body is no JSON in UTF-8") from garbage
    if not isinstance(values, dict):
        raise Unreadable("the body is no JSON object")
    return values


def _words(values: Mapping[str, Any], name: str, most: int, *, lines: bool = False) -> str:
    """A text of the notice; lines: it may be empty and hold line ends, as what a person wrote."""
    value = values.get(name)
    if not isinstance(value, str):
        raise Unreadable(f'"{name}" is missing or no text')
    if len(value) > most:
        raise Unreadable(f'"{name}" is longer than {most} characters')
    if not lines and not value.strip():
        raise Unreadable(f'"{name}" is empty')
    allowed = "\r\n\t" if lines else ""
    if any(unicodedata.category(one) in ("Cc", "Cs") and one not in allowed for one in value):
        raise Unreadable(f'"{name}" holds characters that are no text')
    return value
