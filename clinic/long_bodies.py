"""What the embedded server does with a request that is too long: it counts what comes in and keeps none of it.

Without this waitress would write up to a gigabyte to the disk before any page is asked, and hang up beyond that, which
a browser shows as a broken connection. So the rest is thrown away, and the page is asked as always: its middleware sees
how long the request was and answers in words.
"""

from io import BytesIO
from typing import Any

from django.conf import settings
from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser
from waitress.server import BaseWSGIServer


class _Nothing:
    """Takes the place of a request's buffer, and only counts."""

    def __init__(self, count: int) -> None:
        self._count = count

    def append(self, data: bytes) -> None:
        self._count += len(data)

    def __len__(self) -> int:
        return self._count

    def getfile(self) -> BytesIO:
        return BytesIO()

    def close(self) -> None:
        """Nothing is open."""


class _Parser(HTTPRequestParser):  # type: ignore[misc]  # waitress has no types
    expect_continue: bool

    def received(self, data: bytes) -> int:
        consumed: int = super().received(data)
        receiver = self.body_rcv
        if receiver is None or isinstance(receiver.buf, _Nothing):
            return consumed
        if max(self.content_length, self.body_bytes_received) > settings.LONGEST_REQUEST:
            counted = len(receiver)
            receiver.buf.close()
            receiver.buf = _Nothing(counted)
            if self.expect_continue and not counted:
                # It asks before it sends (RFC 9110, 10.1.1): the answer comes at once, and nothing is sent.
                self.completed = True
                self.expect_continue = False
                self.headers["CONNECTION"] = "close"
        return consumed


class _Channel(HTTPChannel):  # type: ignore[misc]
    parser_class = _Parser


def long_bodies_dropped(listening: dict[int, Any]) -> None:
    """Let the servers among waitress's sockets count what is too long instead of keeping it."""
    for one in listening.values():
        if isinstance(one, BaseWSGIServer):
            one.channel_class = _Channel
