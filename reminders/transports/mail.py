"""One message as a mail (RFC 5322, MIME), whatever names and addresses are in it."""

import email.policy
from email.headerregistry import Address
from email.message import EmailMessage
from email.utils import format_datetime

from reminders.transports.base import Outgoing, TransportError


def mail_bytes(outgoing: Outgoing, sender: str) -> bytes:
    """The mail as it goes over the wire, CRLF line ends. Raises TransportError for an address that cannot be."""
    try:
        return _mail(outgoing, sender).as_bytes()
    except (ValueError, UnicodeError) as impossible:
        # Known before anything was handed over: this one is listed for a person, the next one goes.
        raise TransportError("the message cannot be written as a mail", protocol="smtp", code=554) from impossible


def _mail(outgoing: Outgoing, sender: str) -> EmailMessage:
    mail = EmailMessage(policy=email.policy.SMTP)
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
    if outgoing.calendar:
        mail.add_attachment(outgoing.calendar, "text", "calendar", filename="visit.ics", params=_of(outgoing))
    return mail


def message_id(outgoing: Outgoing, sender: str) -> str:
    """The same at every attempt, so that a mailbox that got it twice can tell."""
    return f"<{outgoing.key.hex}@{ascii_address(sender).rpartition('@')[2]}>"


def ascii_address(address: str) -> str:
    """address with its domain as it is looked up. Raises TransportError where it would mean another mailbox.

    The built-in codec knows the older of the two standards, which turns some letters into others: where the way
    back gives another domain, the mail would go to a stranger. Letters outside ASCII before the @ cannot go.
    """
    local, _, domain = address.rpartition("@")
    try:
        wire = domain.encode("idna").decode("ascii")
        same = wire.encode("ascii").decode("idna") == domain.lower() if not domain.isascii() else bool(domain)
    except UnicodeError:
        same = False
    if not (local and same and local.isascii() and address.isprintable() and " " not in address):
        raise TransportError("the address cannot be written in a mail", protocol="smtp", code=553)
    return f"{local}@{wire}"


def _line(text: str) -> str:
    """text on one line: a line end in a header would begin another header."""
    return " ".join(text.split())


def _of(outgoing: Outgoing) -> dict[str, str]:
    return {"method": outgoing.calendar_method, "charset": "utf-8"}
