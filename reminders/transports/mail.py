"""One message as a mail (RFC 5322, MIME), whatever names and addresses are in it.

The parts are put together here: the library's way of making a mail that it reads again header by header takes four
times as long as the rest of a message's way from the outbox to the mail server. Names and subjects are encoded by the
library where they are anything but plain words. Every line is ASCII: not every server on the way takes more.
"""

import binascii
import re
from collections.abc import Iterator
from email.errors import MessageError
from email.header import Header
from email.headerregistry import Address
from email.utils import format_datetime
from functools import lru_cache

from clinic.rules.mail_address import UnusableAddress, wire_address
from reminders.transports.base import CalendarPart, ImagePart, Outgoing, TransportError

_CRLF = "\r\n"
_LONGEST_LINE = 998  # RFC 5322, 2.1.1
_USUAL_LINE = 78
_OWN_NAME = re.compile(r"[A-Za-z0-9_.-]+")
# Words of letters and digits need neither quotes nor encoding (RFC 5322, 3.2.3).
_PLAIN_NAME = re.compile(r"[A-Za-z0-9]+(?: [A-Za-z0-9]+)*")
# A dot-atom (RFC 5322, 3.2.3) and a domain as it is looked up: no sign in it ends an address or begins another.
_PLAIN_ADDRESS = re.compile(r"[\w!#$%&'*+/=?^`{|}~-]+(?:\.[\w!#$%&'*+/=?^`{|}~-]+)*@[A-Za-z0-9.-]+", re.ASCII)
_UNSEEN = re.compile(rb"[\x00-\x08\x0b-\x1f\x7f]")
_BASE64_LINE = 57
"""Bytes that become a line of 76 (RFC 2045, 6.8)."""


def mail_bytes(outgoing: Outgoing, sender: str) -> bytes:
    """The mail as it goes over the wire, CRLF line ends. Raises TransportError for an address that cannot be."""
    try:
        lines = [*_head(outgoing, sender), *_body(outgoing)]
        return _CRLF.join(lines).encode("ascii")
    except (ValueError, UnicodeError, MessageError) as impossible:
        # Known before anything was handed over: this one is listed for a person, the next one goes.
        raise TransportError("the message cannot be written as a mail", protocol="smtp", code=554) from impossible


def _head(outgoing: Outgoing, sender: str) -> Iterator[str]:
    yield _from(_line(outgoing.from_name), sender)
    yield _mailbox("To", _line(outgoing.to_name), ascii_address(outgoing.to))
    yield _subject(_line(outgoing.subject))
    yield f"Date: {format_datetime(outgoing.at)}"
    yield _whole("Message-ID", message_id(outgoing, sender))
    # Keeps out-of-office replies from answering a machine (RFC 3834).
    yield "Auto-Submitted: auto-generated"
    if outgoing.unsubscribe:
        yield _whole("List-Unsubscribe", f"<{_line(outgoing.unsubscribe)}>")
        if outgoing.unsubscribe.startswith("http"):
            yield "List-Unsubscribe-Post: List-Unsubscribe=One-Click"  # RFC 8058
    yield "MIME-Version: 1.0"


def _whole(name: str, value: str) -> str:
    """What machines read stays on one line, as it stands.

    The library writes a word too long for a line of 78 as an encoded word; in an address or an identifier that is
    none any more, and no mail program would find it.
    """
    line = f"{name}: {value}"
    if len(line) > _LONGEST_LINE or not line.isascii():
        raise ValueError(f"{name} is too long for a mail, or not plain")
    return line


@lru_cache(maxsize=8)
def _from(name: str, sender: str) -> str:
    return _mailbox("From", name, ascii_address(sender))


def _mailbox(field: str, name: str, address: str) -> str:
    line = f"{field}: {name} <{address}>"
    if _PLAIN_NAME.fullmatch(name) and _PLAIN_ADDRESS.fullmatch(address) and len(line) <= _USUAL_LINE:
        return line
    # Raises for what would be two mailboxes, or none; what it reads as a comment would make it another one.
    if Address(addr_spec=address).addr_spec != address:
        raise ValueError("an address that is written otherwise")
    return f"{field}: {_encoded(field, name)}{_CRLF} <{address}>" if name else f"{field}: {address}"


def _subject(subject: str) -> str:
    line = f"Subject: {subject}"
    # What looks like an encoded word (RFC 2047, 2) would be read as one and say something else.
    if subject.isascii() and subject.isprintable() and "=?" not in subject and len(line) <= _USUAL_LINE:
        return line
    return f"Subject: {_encoded('Subject', subject)}"


def _encoded(field: str, text: str) -> str:
    """Encoded words with the spaces inside them: those between two of them are not read (RFC 2047, 6.2).

    The library's newer way of folding leaves them outside, and words run together.
    """
    return Header(text, "utf-8", header_name=field).encode(linesep=_CRLF)


def _body(outgoing: Outgoing) -> Iterator[str]:
    """The rest of the mail, from its type on: the words and the page beside each other, calendars after them."""
    if not outgoing.calendar:
        yield from _words(outgoing)
        return
    parts = [_words(outgoing), *(_calendar(part) for part in outgoing.calendar)]
    yield from _together("mixed", outgoing, parts)


def _words(outgoing: Outgoing) -> Iterator[str]:
    if not outgoing.html:
        return _text("plain", outgoing.text)
    return _together("alternative", outgoing, [_text("plain", outgoing.text), _page(outgoing)])


def _page(outgoing: Outgoing) -> Iterator[str]:
    """The pictures beside the HTML that shows them (RFC 2387), so that no program lists them as attachments."""
    page = _text("html", outgoing.html)
    if not outgoing.images:
        return page
    return _together("related", outgoing, [page, *(_image(image) for image in outgoing.images)])


def _together(subtype: str, outgoing: Outgoing, parts: list[Iterator[str]]) -> Iterator[str]:
    # "=_" stands in no quoted-printable and no base64 (RFC 2045, 6.7), and nobody knows the key beforehand.
    boundary = f"=_{subtype}_{outgoing.key.hex}"
    root = ' type="text/html";' if subtype == "related" else ""
    yield f"Content-Type: multipart/{subtype};{root}"
    yield f' boundary="{boundary}"'
    yield ""
    for part in parts:
        yield f"--{boundary}"
        yield from part
    yield f"--{boundary}--"
    yield ""


def _text(subtype: str, text: str) -> Iterator[str]:
    yield f'Content-Type: text/{subtype}; charset="utf-8"'
    content = text.encode().replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    content = content if content.endswith(b"\n") else content + b"\n"
    how, written = _carried(content)
    yield f"Content-Transfer-Encoding: {how}"
    yield ""
    yield written


def _carried(content: bytes) -> tuple[str, str]:
    """Text with "\\n" line ends as lines of ASCII that no server breaks, and the name of the way (RFC 2045, 6)."""
    if content.isascii() and not _UNSEEN.search(content) and _longest_line(content) <= _USUAL_LINE:
        return "7bit", content.decode("ascii").replace("\n", _CRLF)
    quoted = binascii.b2a_qp(content, istext=True)
    if len(quoted) * 2 < len(content) * 3:
        return "quoted-printable", quoted.decode("ascii").replace("\n", _CRLF)
    return "base64", _base64(content.replace(b"\n", b"\r\n"))


def _longest_line(content: bytes) -> int:
    return max(len(line) for line in content.split(b"\n"))


def _image(image: ImagePart) -> Iterator[str]:
    yield "Content-Type: image/png"
    yield "Content-Transfer-Encoding: base64"
    yield f'Content-Disposition: inline; filename="{_own_name(image.name)}"'
    yield _whole("Content-ID", f"<{_line(image.cid)}>")
    yield ""
    yield _image_written(image.content)


@lru_cache(maxsize=512)
def _image_written(content: bytes) -> str:
    """The same pictures go to everybody: each is written once. About 15 KB each, and nobody is in them."""
    return _base64(content)


def _calendar(part: CalendarPart) -> Iterator[str]:
    yield f'Content-Type: text/calendar; method="{_own_name(part.method)}"; charset="utf-8"'
    yield "Content-Transfer-Encoding: base64"
    yield f'Content-Disposition: attachment; filename="{_own_name(part.name)}"'
    yield ""
    yield _base64(part.content)


def _base64(content: bytes) -> str:
    lines = (content[at : at + _BASE64_LINE] for at in range(0, len(content), _BASE64_LINE))
    return "".join(binascii.b2a_base64(line, newline=False).decode("ascii") + _CRLF for line in lines)


def _own_name(name: str) -> str:
    """The program's own names of files and methods, which stand between quotes."""
    if not _OWN_NAME.fullmatch(name):
        raise ValueError("a name in a mail's part is not plain")
    return name


def message_id(outgoing: Outgoing, sender: str) -> str:
    """The same at every attempt, so that a mailbox that got it twice can tell."""
    return f"<{outgoing.key.hex}@{_sender_domain(sender)}>"


@lru_cache(maxsize=8)
def _sender_domain(sender: str) -> str:
    return ascii_address(sender).rpartition("@")[2]


def ascii_address(address: str) -> str:
    """address with its domain as it is looked up. Raises TransportError where it would mean another mailbox."""
    try:
        return wire_address(address)
    except UnusableAddress as unusable:
        raise TransportError("the address cannot be written in a mail", protocol="smtp", code=553) from unusable


def _line(text: str) -> str:
    """text on one line: a line end in a header would begin another header."""
    return " ".join(text.split())
