"""Mail servers and SMS gateways on this machine, as obliging or as bad as a test wants them."""

import socket
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email import message_from_bytes, policy
from email.message import EmailMessage
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from uuid import UUID

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP

from reminders.transports import Outgoing

KEY = UUID("12345678-1234-4234-8234-123456789abc")
AT = datetime(2027, 3, 10, 15, 0, tzinfo=UTC)


def outgoing(**changes: Any) -> Outgoing:
    values: dict[str, Any] = {
        "key": KEY,
        "kind": "removal_day",
        "to": "ada@example.org",
        "text": "Today the tape comes off.\n",
        "due_at": AT,
        "at": AT,
        "subject": "Your tape",
        "html": "<p>Today the tape comes off.</p>",
        "to_name": "Ada",
        "from_name": "Harbour Lane Clinic",
    }
    return Outgoing(**(values | changes))


@dataclass
class Mailbox:
    """aiosmtpd's handler: keeps what came; replies holds an answer a command for the next times it comes."""

    received: list[tuple[str, list[str], bytes]] = field(default_factory=list)
    replies: dict[str, list[str]] = field(default_factory=dict)
    connections: int = 0

    def _next(self, command: str, usual: str) -> str:
        waiting = self.replies.get(command, [])
        return waiting.pop(0) if waiting else usual

    async def handle_EHLO(self, server: Any, session: Any, envelope: Any, hostname: str, responses: list[str]) -> Any:  # noqa: N802
        self.connections += 1
        session.host_name = hostname
        return responses

    async def handle_MAIL(self, server: Any, session: Any, envelope: Any, address: str, options: Any) -> str:  # noqa: N802
        answer = self._next("MAIL", "250 OK")
        if answer.startswith("250"):
            envelope.mail_from = address
        return answer

    async def handle_RCPT(self, server: Any, session: Any, envelope: Any, address: str, options: Any) -> str:  # noqa: N802
        answer = self._next("RCPT", "250 OK")
        if answer.startswith("250"):
            envelope.rcpt_tos.append(address)
        return answer

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:  # noqa: N802
        answer = self._next("DATA", "250 queued as 77")
        if answer.startswith("250"):
            self.received.append((envelope.mail_from, list(envelope.rcpt_tos), envelope.content))
        return answer

    @property
    def mails(self) -> list[EmailMessage]:
        return [message_from_bytes(content, policy=policy.default) for _, _, content in self.received]


class _Controller(Controller):
    def factory(self) -> SMTP:
        return SMTP(self.handler, **self.SMTP_kwargs)


@pytest.fixture
def mailbox() -> Mailbox:
    return Mailbox()


@pytest.fixture
def mail_server(mailbox: Mailbox) -> Iterator[Callable[..., int]]:
    """mail_server(**options of aiosmtpd) starts one and gives its port."""
    running: list[Controller] = []

    def start(**options: Any) -> int:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = int(free.getsockname()[1])
        controller = _Controller(mailbox, hostname="127.0.0.1", port=port, **options)
        controller.start()
        running.append(controller)
        return port

    yield start
    for controller in running:
        controller.stop()


@dataclass
class Desk:
    """The SMS gateway's side: what came, and what it answers. act runs instead of an answer where it is given."""

    requests: list[tuple[dict[str, str], bytes]] = field(default_factory=list)
    answers: list[tuple[int, bytes]] = field(default_factory=list)
    act: Callable[[BaseHTTPRequestHandler], object] | None = None
    connections: set[tuple[str, int]] = field(default_factory=set)
    path: str = ""


@pytest.fixture
def desk() -> Desk:
    return Desk()


@pytest.fixture
def gateway_port(desk: Desk) -> Iterator[int]:
    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            desk.requests.append((dict(self.headers.items()), body))
            desk.connections.add(self.client_address)
            desk.path = self.path
            if desk.act is not None:
                desk.act(self)
                return
            status, answer = desk.answers.pop(0) if desk.answers else (200, b'{"id": "m-1"}')
            self.send_response(status)
            self.send_header("Content-Length", str(len(answer)))
            self.end_headers()
            self.wfile.write(answer)

        def log_message(self, *words: Any) -> None:
            """The test's output is the place for nothing but failures."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield int(server.server_address[1])
    server.shutdown()
    server.server_close()
    thread.join(5)
