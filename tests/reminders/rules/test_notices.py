"""What the webhook's JSON must hold, and what a receipt means for a message in each state."""

import json
from typing import Any

import pytest

from reminders.rules.notices import (
    Effect,
    News,
    ReceiptNotice,
    ReplyNotice,
    Unreadable,
    effect_of,
    key_in,
    read_bounce,
    read_receipt,
    read_reply,
)
from reminders.rules.outbox import MessageState

REPLY: dict[str, Any] = {"id": "e-1", "from": "+12125550123", "text": "STOP"}
RECEIPT: dict[str, Any] = {
    "id": "e-2",
    "message": "m-1",
    "state": "undelivered",
    "for_good": True,
    "why": "no such line",
}
BOUNCE: dict[str, Any] = {"id": "e-3", "message": "<0123456789abcdef0123456789abcdef@example.org>", "kind": "hard"}


def body(values: dict[str, Any], **changes: Any) -> bytes:
    return json.dumps({name: value for name, value in (values | changes).items() if value is not ...}).encode()


def test_a_reply() -> None:
    assert read_reply(body(REPLY)) == ReplyNotice("e-1", "+12125550123", "STOP")


def test_the_words_of_a_reply_may_be_long_in_lines_and_empty() -> None:
    assert read_reply(body(REPLY, text="it\r\nitches\tbadly")).text == "it\r\nitches\tbadly"
    assert read_reply(body(REPLY, text="")).text == ""


def test_a_receipt() -> None:
    assert read_receipt(body(RECEIPT)) == ReceiptNotice("e-2", "m-1", News.UNDELIVERED, True, "no such line")
    short = read_receipt(body(RECEIPT, for_good=..., why=...))
    assert short == ReceiptNotice("e-2", "m-1", News.UNDELIVERED)


def test_what_arrived_is_not_refused_for_good() -> None:
    assert read_receipt(body(RECEIPT, state="delivered")).for_good is False


def test_a_hard_bounce_is_for_good_and_a_soft_one_is_still_tried() -> None:
    assert (read_bounce(body(BOUNCE)).news, read_bounce(body(BOUNCE)).for_good) == (News.UNDELIVERED, True)
    soft = read_bounce(body(BOUNCE, kind="soft"))
    assert (soft.news, soft.for_good) == (News.DELAYED, False)


def test_long_reasons_are_cut() -> None:
    assert len(read_bounce(body(BOUNCE, why="x" * 3000)).why) == 120


@pytest.mark.parametrize(
    "garbage", [b"", b"\xff", b"null", b"[]", b'"x"', b"{", b"[" * 16000, b'{"id": NaN', b"\xef\xbb\xbf{}", b"1" * 5000]
)
def test_garbage_is_refused_by_every_reader(garbage: bytes) -> None:
    for read in (read_reply, read_receipt, read_bounce):
        with pytest.raises(Unreadable):
            read(garbage)


@pytest.mark.parametrize(
    "changes",
    [
        {"id": ...}, {"id": 7}, {"id": " "}, {"id": "x" * 101}, {"id": "a\u0000b"}, {"id": "a\nb"},
        {"from": "2125550123"}, {"from": "+0123456789"}, {"from": "+12125550123; drop"}, {"from": None},
        {"from": "+１２125550123"}, {"text": ["STOP"]}, {"text": ...}, {"text": "STOP\u0000"}, {"text": "x" * 4001},
        {"text": "half a pair \ud800"}, {"text": "\u001b[2J"},
    ],
)  # fmt: skip
def test_a_reply_that_is_none_is_refused_without_repeating_it(changes: dict[str, Any]) -> None:
    with pytest.raises(Unreadable) as refused:
        read_reply(body(REPLY, **changes))
    assert "drop" not in str(refused.value)
    assert "0123" not in str(refused.value).replace("+12125550123", "")


@pytest.mark.parametrize(
    "changes",
    [
        {"state": "delayed"}, {"state": ...}, {"state": "DELIVERED"}, {"for_good": "yes"}, {"for_good": 1},
        {"message": ""}, {"message": ...}, {"message": "x" * 201}, {"why": 5}, {"why": "a\u0000"}, {"why": ""},
    ],
)  # fmt: skip
def test_a_receipt_that_is_none_is_refused(changes: dict[str, Any]) -> None:
    with pytest.raises(Unreadable):
        read_receipt(body(RECEIPT, **changes))


@pytest.mark.parametrize("kind", [..., "bounced", "Hard", 5, ""])
def test_a_bounce_that_is_neither_hard_nor_soft_is_refused(kind: Any) -> None:
    with pytest.raises(Unreadable):
        read_bounce(body(BOUNCE, kind=kind))


@pytest.mark.parametrize(
    ("reference", "key"),
    [
        ("12345678-1234-4234-8234-123456789abc", "12345678123442348234123456789abc"),
        ("12345678123442348234123456789ABC", "12345678123442348234123456789abc"),
        ("<12345678123442348234123456789abc@example.org>", "12345678123442348234123456789abc"),
        ("12345678123442348234123456789abc@example.org", "12345678123442348234123456789abc"),
        ("queued as 77", None),
        ("m-1", None),
        ("<1234@example.org>", None),
    ],
)
def test_a_key_is_known_by_itself_and_in_a_message_id(reference: str, key: str | None) -> None:
    assert key_in(reference) == key


S, E = MessageState, Effect
EFFECTS = {
    S.CLAIMED: (E.WAIT, E.WAIT, E.WAIT),
    S.SENDING: (E.WAIT, E.WAIT, E.WAIT),
    S.SENT: (E.ARRIVED, E.LOST, E.NOTED),
    S.UNCERTAIN: (E.ARRIVED, E.LOST, E.NOTED),
}


@pytest.mark.parametrize("state", list(MessageState))
def test_news_changes_only_a_message_that_went_or_may_have(state: MessageState) -> None:
    expected = EFFECTS.get(state, (E.NOTHING,) * 3)
    assert tuple(effect_of(news, state) for news in News) == expected
