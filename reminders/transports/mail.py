"""One message as a mail (RFC 5322, MIME), whatever names and addresses are in it."""

import email.policy
from email.headerregistry import Address
from email.message import EmailMessage
from email.utils import format_datetime
from typing import Any

from clinic.rules.mail_address import UnusableAddress, wire_address
from reminders.transports.base import Outgoing, TransportError

_WHOLE = frozenset({"auto-submitted", "list-unsubscribe", "list-unsubscribe-post", "message-id"})
_LONGEST_LINE = 998  # RFC 5322, 2.1.1


class _Policy(email.policy.EmailPolicy):
    """Leaves what machines read on one line, as it stands.

    The library writes a word too long for a line of 78 as an encoded word; in an address or an identifier that is
    none any more, and no mail program would find it.
    """

    def fold_binary(self, name: str, value: Any) -> bytes:
        if name.lower() not in _WHOLE:
            return super().fold_binary(name, value)
        line = f"{name}: {value}".encode("ascii")
        if len(line) > _LONGEST_LINE:
            raise ValueError(f"{name} is too long for a mail")
        return line + b"\r\n"


_POLICY = _Policy(linesep="\r\n")


def mail_bytes(outgoing: Outgoing, sender: str) -> bytes:
    """The mail as it goes over the wire, CRLF line ends. Raises TransportError for an address that cannot be."""
    try:
        return _mail(outgoing, sender).as_bytes()
    except (ValueError, UnicodeError) as impossible:
        # Known before anything was handed over: this one is listed for a person, the next one goes.
        raise TransportError("the message cannot be written as a mail", protocol="smtp", code=554) from impossible


def _mail(outgoing: Outgoing, sender: str) -> EmailMessage:
    mail = EmailMessage(policy=_POLICY)
    mail["From"] = Address(_line(outgoing.from_name), addr_spec=ascii_address(sender))
    mail["To"] = Address(_line(outgoing.to_name), addr_spec=ascii_address(outgoing.to))
    mail["Subject"] = _line(outgoing.subject)
    mail["Date"] = format_datetime(outgoing.at)
    mail["Message-ID"] = message_id(outgoing, sender)
    # Keeps out-of-office replies from answering a machine (RFC 3834).
    mail["Auto-Submitted"] = "auto-generated"
    if outgoing.unsubscribe:
        mail["List-Unsubscribe"] = f"<{_line(outgoing.unsubscribe)}>"
        if outgoing.unsubscribe.startswith("http"):
            mail["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"  # RFC 8058
    mail.set_content(outgoing.text)
    if outgoing.html:
        mail.add_alternative(outgoing.html, subtype="html")
        _add_images(mail, outgoing)
    for part in outgoing.calendar:
        mail.add_attachment(
            part.content, "text", "calendar", filename=part.name, params={"method": part.method, "charset": "utf-8"}
        )
    return mail


def _add_images(mail: EmailMessage, outgoing: Outgoing) -> None:
    """The pictures beside the HTML that shows them (RFC 2387), so that no program lists them as attachments."""
    page = mail.get_body(("html",))
    if page is None:
        return
    for image in outgoing.images:
        page.add_related(image.content, "image", "png", cid=f"<{image.cid}>", filename=image.name, disposition="inline")


def message_id(outgoing: Outgoing, sender: str) -> str:
    """The same at every attempt, so that a mailbox that got it twice can tell."""
    return f"<{outgoing.key.hex}@{ascii_address(sender).rpartition('@')[2]}>"


def ascii_address(address: str) -> str:
    """address with its domain as it is looked up. Raises TransportError where it would mean another mailbox."""
    try:
        return wire_address(address)
    except UnusableAddress as unusable:
        raise TransportError("the address cannot be written in a mail", protocol="smtp", code=553) from unusable


def _line(text: str) -> str:
    """text on one line: a line end in a header would begin another header."""
    return " ".join(text.split())
