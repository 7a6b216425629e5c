"""Text messages by an HTTP gateway.

    POST <SMS_GATEWAY_URL>
    Authorization: Bearer <SMS_GATEWAY_TOKEN>
    Content-Type: application/json
    Idempotency-Key: <the same at every attempt of one message>

    {"to": "+12125550123", "text": "...", "from": <SMS_SENDER, where one is set>}

A good answer is any 2xx with {"id": "..."}; 4xx refuses for good (404, 410 and 422: this number), 429 and 5xx ask to
come again, not before Retry-After where it is given. A gateway that has seen the key before must not send twice; 409
says that it is still busy with it.
"""

import http.client
import json
import re
import socket
import ssl
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from email.message import Message
from email.utils import parsedate_to_datetime
from functools import partial
from typing import Any
from urllib.parse import urlsplit

from reminders.transports.base import Outgoing, Transport, TransportError
from reminders.transports.deadline import LONGEST_SECONDS, Deadline, answers

TIMEOUT_SECONDS = 10.0
LONGEST_ANSWER = 64 * 1024
_E164 = re.compile(r"\+[1-9][0-9]{6,14}")
LONGEST_WAIT = timedelta(days=1)
NUMBER_REFUSED = frozenset({404, 410, 422})
_HERE = ("localhost", "127.0.0.1", "::1")


@dataclass(frozen=True, slots=True)
class Gateway:
    """Where text messages go: https, or http on this machine."""

    scheme: str
    host: str
    port: int | None
    path: str
    token: str = ""
    sender: str = ""

    @classmethod
    def from_url(cls, url: str, token: str, sender: str = "") -> "Gateway":
        """Raises ValueError that says what to do."""
        parts = urlsplit(url)
        if parts.scheme not in ("http", "https") or not parts.hostname:
            raise ValueError("write it as https://gateway.example.org/messages")
        if parts.scheme == "http" and parts.hostname not in _HERE:
            raise ValueError("http:// sends numbers in the clear and is only for this machine: write https")
        path = f"{parts.path or '/'}?{parts.query}" if parts.query else parts.path or "/"
        return cls(parts.scheme, parts.hostname, parts.port, path, token, sender)


class GatewayTransport(Transport):
    """Holds one connection from the first message of a batch to the last. tls: for certificates of one's own."""

    def __init__(
        self,
        gateway: Gateway,
        *,
        timeout: float = TIMEOUT_SECONDS,
        longest: float = LONGEST_SECONDS,
        tls: ssl.SSLContext | None = None,
    ) -> None:
        self._gateway = gateway
        self._longest = longest
        self._deadline = Deadline(timeout)
        self._tls = tls
        self._held: http.client.HTTPConnection | None = None

    def send(self, outgoing: Outgoing) -> str:
        if not _E164.fullmatch(outgoing.to):
            raise TransportError("the number is not written as +12125550123", protocol="http", code=422, address=True)
        self._deadline.begin(self._longest)
        connection = self._connection()
        values = {"to": outgoing.to, "text": outgoing.text}
        body = json.dumps(values | ({"from": self._gateway.sender} if self._gateway.sender else {})).encode()
        headers = {
            "Authorization": f"Bearer {self._gateway.token}",
            "Content-Type": "application/json",
            "Idempotency-Key": str(outgoing.key),
        }
        try:
            connection.request("POST", self._gateway.path, body, headers)
            answer = connection.getresponse()
            content = self._read(answer)
        except (OSError, http.client.HTTPException) as broken:
            self.close()
            words = f"the SMS gateway did not answer ({type(broken).__name__})"
            raise TransportError(words, protocol="http", handed_over=True) from broken
        if answer.will_close:
            self.close()
        if not 200 <= answer.status < 300:
            refused = answer.status in NUMBER_REFUSED
            wait = retry_after(answer.headers, outgoing.at)
            words = "the SMS gateway refused"
            raise TransportError(words, protocol="http", code=answer.status, address=refused, retry_after=wait)
        return _id_in(content)

    def close(self) -> None:
        held, self._held = self._held, None
        if held is not None:
            held.close()

    def _connection(self) -> http.client.HTTPConnection:
        """A connection that stands, so that from here on a silence means that the message may have been read."""
        if self._held is not None and self._held.sock is not None:
            self._held.sock.settimeout(self._deadline.left())
            return self._held
        at, left = self._gateway, self._deadline.left()
        if at.scheme == "https":
            context = self._tls or ssl.create_default_context()
            self._held = http.client.HTTPSConnection(at.host, at.port, timeout=left, context=context)
        else:
            self._held = http.client.HTTPConnection(at.host, at.port, timeout=left)
        self._held.response_class = partial(_TimedAnswer, self._deadline)  # type: ignore[assignment]
        try:
            self._held.connect()
        except OSError as broken:
            self.close()
            words = f"the SMS gateway cannot be reached ({type(broken).__name__})"
            raise TransportError(words, protocol="http") from broken
        return self._held

    def _read(self, answer: http.client.HTTPResponse) -> bytes:
        parts = b""
        while chunk := answer.read1(LONGEST_ANSWER):
            parts += chunk
            if len(parts) > LONGEST_ANSWER:
                raise http.client.HTTPException("the answer is too long")
        answer.close()  # read to its end, it leaves the connection free for the next message
        return parts


class _TimedAnswer(http.client.HTTPResponse):
    """Its head and its body are read until the attempt is over."""

    def __init__(self, deadline: Deadline, sock: socket.socket, *args: Any, **options: Any) -> None:
        super().__init__(sock, *args, **options)
        self.fp.close()
        self.fp = answers(sock, deadline)


def retry_after(headers: Message, at: datetime) -> timedelta | None:
    """How long the other side asks to be left alone (RFC 9110, 10.2.3): seconds, or until a date on its own clock.

    at: this side's clock, for an answer that does not say what time it is there. None where it asks for nothing, or
    for nothing that can be understood; never more than a day.
    """
    asked = (headers.get("Retry-After") or "").strip()
    if asked.isascii() and asked.isdigit():
        return min(timedelta(seconds=int(asked[:6])), LONGEST_WAIT)
    until, there = (_http_date(text) for text in (asked, headers.get("Date") or ""))
    if until is None:
        return None
    return min(max(until - (there or at), timedelta(0)), LONGEST_WAIT)


def _http_date(text: str) -> datetime | None:
    try:
        found = parsedate_to_datetime(text)
    except (ValueError, TypeError):
        return None
    return found if found.tzinfo else found.replace(tzinfo=UTC)


def _id_in(content: bytes) -> str:
    """The gateway's id; an answer without one may come from anybody on the way, so nobody knows."""
    try:
        found = json.loads(content)["id"]
    except (ValueError, KeyError, TypeError, RecursionError) as garbage:
        raise TransportError("the SMS gateway answered without an id", protocol="http", handed_over=True) from garbage
    # A database takes neither half a pair nor a zero byte: with such an id the message could not be marked as sent.
    shown = "".join(character for character in str(found) if character.isascii() and character.isprintable())
    if isinstance(found, bool) or not isinstance(found, str | int) or not shown:
        raise TransportError("the SMS gateway answered without an id", protocol="http", handed_over=True)
    return shown[:120]
