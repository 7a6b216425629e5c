"""What every transport is: it hands one message over and says what the other side answered."""

from abc import ABC, abstractmethod
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

ADDRESS_REFUSED = frozenset({550, 551, 553, 556})
"""SMTP replies that speak of the mailbox and not of the message (RFC 5321, 4.2.3; RFC 7504)."""


@dataclass(frozen=True, slots=True)
class CalendarPart:
    """One calendar (RFC 5545) and its method, which a mail names a second time (RFC 6047), and the file's name."""

    method: str
    content: bytes
    name: str = "visit.ics"


@dataclass(frozen=True, slots=True)
class ImagePart:
    """A PNG inside a mail. cid: the name by which the HTML shows it (RFC 2392), without "cid:"; name: the file's."""

    cid: str
    content: bytes
    name: str


@dataclass(frozen=True, slots=True)
class Outgoing:
    """One message, ready to go. key is the same at every attempt; due_at and at (the moment of sending) are aware."""

    key: UUID
    kind: str
    to: str
    text: str
    due_at: datetime
    at: datetime
    subject: str = ""
    html: str = ""
    to_name: str = ""
    from_name: str = ""
    unsubscribe: str = ""
    calendar: tuple[CalendarPart, ...] = ()
    images: tuple[ImagePart, ...] = ()


class TransportError(Exception):
    """The other side did not take the message, or nobody knows whether it did.

    protocol is "smtp" or "http"; code is the reply, None where there was silence. handed_over: the whole message
    was on its way before the silence. address_refused: the reply was about this address. retry_after: the other side
    asked not to come again sooner. The text names no address.
    """

    def __init__(
        self,
        words: str,
        *,
        protocol: str,
        code: int | None = None,
        handed_over: bool = False,
        address: bool | None = None,
        retry_after: timedelta | None = None,
    ) -> None:
        super().__init__(words)
        self.protocol = protocol
        self.code = code
        self.handed_over = handed_over
        self.retry_after = retry_after
        self.address_refused = code in ADDRESS_REFUSED if address is None else address


class Transport(ABC):
    """One channel's way out. Used by one thread at a time; a connection may be held from one message to the next."""

    @abstractmethod
    def send(self, outgoing: Outgoing) -> str:
        """Hand over and return the other side's own id for it, "" where it gives none. Raises TransportError."""

    def close(self) -> None:  # noqa: B027  # most hold nothing
        """Let go of a held connection; the next send opens a new one."""
