"""The other side of the fault tests: an SMS gateway and a mail server on this machine that remember by key."""

import json
import re
import threading
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from uuid import UUID

from tests.reminders.transports.conftest import Mailbox

Answer = tuple[int, dict[str, str], bytes]
GOOD: Answer = (200, {}, b'{"id": "m-1"}')


@dataclass
class Arrivals:
    """What came whole, on either channel, by the message's key; a number or address is all else that is kept."""

    keys: Counter[UUID] = field(default_factory=Counter)
    mailbox: Mailbox = field(default_factory=Mailbox)

    def clear(self) -> None:
        self.keys.clear()
        self.mailbox.received.clear()
        self.mailbox.replies.clear()

    @property
    def all(self) -> Counter[UUID]:
        mails = (re.search(rb"(?im)^Message-ID: <([0-9a-f]{32})@", content) for _, _, content in self.mailbox.received)
        return self.keys + Counter(UUID(found[1].decode()) for found in mails if found)


@dataclass
class SmsDesk:
    """An SMS gateway. answers are used up first; act, where given, runs instead of an answer."""

    arrivals: Arrivals
    answers: list[Answer] = field(default_factory=list)
    act: Callable[[BaseHTTPRequestHandler], object] | None = None
    asked: int = 0
    port: int = 0

    def clear(self) -> None:
        self.answers.clear()
        self.act, self.asked = None, 0

    def start(self) -> Callable[[], None]:
        """Begin to listen; returns what ends it."""
        desk = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                desk.asked += 1
                status, headers, words = desk.answers.pop(0) if desk.answers else GOOD
                try:
                    json.loads(body)
                except ValueError:
                    return  # the other side died while it spoke
                if desk.act is not None:
                    desk.act(self)
                    return
                if status == 200:
                    desk.arrivals.keys[UUID(self.headers["Idempotency-Key"])] += 1
                self.send_response(status)
                for name, value in headers.items():
                    self.send_header(name, value)
                self.send_header("Content-Length", str(len(words)))
                self.end_headers()
                self.wfile.write(words)

            def log_message(self, *words: Any) -> None:
                """The test's output is the place for nothing but failures."""

        class Server(ThreadingHTTPServer):
            daemon_threads = True

            def handle_error(self, request: Any, client_address: Any) -> None:
                """The other side was killed: that is what these tests are about."""

        server = Server(("127.0.0.1", self.port), Handler)
        self.port = int(server.server_address[1])
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True)
        thread.start()

        def end() -> None:
            server.shutdown()
            server.server_close()
            thread.join(5)

        return end
