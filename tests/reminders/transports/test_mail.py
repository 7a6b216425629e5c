"""What a mail looks like on the wire: names, addresses, headers and parts, whatever is typed into them.

Headers: RFC 5322, RFC 2047 (encoded words), RFC 3834 (Auto-Submitted), RFC 8058 (one-click), RFC 5891 (domains).
"""

import re
from base64 import b64decode
from binascii import a2b_qp
from email import message_from_bytes, policy
from email.message import EmailMessage

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reminders.transports import CalendarPart, ImagePart, TransportError
from reminders.transports.mail import ascii_address, mail_bytes
from tests.reminders.transports.conftest import KEY, outgoing

SENDER = "clinic@example.org"


def mail(**changes: object) -> EmailMessage:
    parsed = message_from_bytes(mail_bytes(outgoing(**changes), SENDER), policy=policy.default)
    assert isinstance(parsed, EmailMessage)
    return parsed


def test_it_is_plain_text_with_a_page_beside_it() -> None:
    parts = [part.get_content_type() for part in mail().walk()]
    assert parts == ["multipart/alternative", "text/plain", "text/html"]


def test_a_visit_comes_with_its_calendar_entry() -> None:
    whole = mail(calendar=(CalendarPart("CANCEL", b"BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n"),))
    entry = next(part for part in whole.walk() if part.get_content_type() == "text/calendar")
    assert (entry.get_filename(), entry.get_param("method")) == ("visit.ics", "CANCEL")
    assert entry["Content-Type"].startswith('text/calendar; method="CANCEL"; charset="utf-8"')
    assert entry.get_payload(decode=True) == b"BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n"


def test_headers_say_that_a_machine_wrote_it_and_how_to_stop_it() -> None:
    link = "https://tape.example.org/u/token/"
    whole = mail(unsubscribe=link)
    assert whole["Auto-Submitted"] == "auto-generated"
    assert (whole["List-Unsubscribe"], whole["List-Unsubscribe-Post"]) == (f"<{link}>", "List-Unsubscribe=One-Click")


@pytest.mark.parametrize("length", [10, 43, 200, 900])
def test_long_addresses_of_machines_stay_on_one_line_as_they_are(length: int) -> None:
    """RFC 2369, 2 and RFC 8058, 3.1: a mail program reads the address between angle brackets, unencoded."""
    link = f"https://tape.harbour-lane-clinic.example.org/u/{'A' * length}/"
    sender = f"desk@{'very-long-name-of-a-clinic.' * 3}example.org"
    lines = mail_bytes(outgoing(unsubscribe=link), sender).split(b"\r\n")
    assert f"List-Unsubscribe: <{link}>".encode() in lines
    assert f"Message-ID: <{KEY.hex}@{sender.partition('@')[2]}>".encode() in lines
    assert b"List-Unsubscribe-Post: List-Unsubscribe=One-Click" in lines


def test_a_stop_address_that_fits_no_line_is_known_before_anything_goes() -> None:
    with pytest.raises(TransportError) as refused:
        mail_bytes(outgoing(unsubscribe=f"https://tape.example.org/u/{'A' * 980}/"), SENDER)
    assert refused.value.code == 554


def test_a_long_address_of_a_reader_is_not_encoded() -> None:
    address = f"{'long.local.part.' * 3}of.ada@{'quite-a-long-domain.' * 3}example.org"
    raw = mail_bytes(outgoing(to=address, to_name="Ada Żółć"), SENDER)
    assert b"<" + address.encode() + b">" in raw


def test_without_a_link_there_is_an_address_to_write_to_and_no_one_click() -> None:
    whole = mail(unsubscribe="mailto:clinic@example.org?subject=STOP")
    assert whole["List-Unsubscribe"] == "<mailto:clinic@example.org?subject=STOP>"
    assert whole["List-Unsubscribe-Post"] is None


def test_the_message_id_is_the_same_at_every_attempt() -> None:
    assert mail()["Message-ID"] == f"<{KEY.hex}@example.org>" == mail(text="another attempt")["Message-ID"]


@pytest.mark.parametrize(
    "name",
    ["Lee, Ana", "Żółć, Anna (kids)", "Nguyễn Thị Minh Khai, " * 4, 'He said "hi" <x@example.net>', "O'Neil", ""],
)
def test_a_name_is_one_recipient_and_comes_back_whole(name: str) -> None:
    (address,) = mail(to_name=name)["To"].addresses
    # How many spaces there are is asked below: the library's reader doubles one between two encoded words.
    shown = " ".join(address.display_name.split())
    assert (address.addr_spec, shown) == ("ada@example.org", " ".join(name.split()))


def test_a_line_end_in_a_name_begins_no_header() -> None:
    whole = mail(to_name="Ana\r\nBcc: z@example.net", subject="Tape\nBcc: z@example.net\n", from_name="A\nBcc: z@e.net")
    assert whole["Bcc"] is None
    assert whole["Subject"] == "Tape Bcc: z@example.net"
    assert [address.addr_spec for address in whole["To"].addresses] == ["ada@example.org"]


@pytest.mark.parametrize(
    ("address", "wire"),
    [
        ("o'neil+tape@example.com", "o'neil+tape@example.com"),
        ("info@bücher.example", "info@xn--bcher-kva.example"),
        ("ada@EXAMPLE.org", "ada@EXAMPLE.org"),
    ],
)
def test_addresses_as_they_are_looked_up(address: str, wire: str) -> None:
    assert ascii_address(address) == wire


@pytest.mark.parametrize(
    "address",
    [
        "jörg@example.com", "info@faß.example", "ada", "@example.org", "ada@", "a b@example.org",
        "ada@example.org\r\nBcc: z@e.net", "ada@exa mple.org", f"ada@{'a' * 64}.example",
    ],
)  # fmt: skip
def test_addresses_that_would_reach_a_stranger_or_nobody_are_refused_for_good(address: str) -> None:
    with pytest.raises(TransportError) as refused:
        mail_bytes(outgoing(to=address), SENDER)
    assert (refused.value.protocol, refused.value.code, refused.value.address_refused) == ("smtp", 553, True)
    assert address not in str(refused.value)


def test_long_lines_and_letters_of_every_script_arrive() -> None:
    text = "مرحبا " * 300 + "\n.\nEnd\n"
    whole = mail(text=text)
    body = whole.get_body(("plain",))
    assert body is not None
    assert body.get_content().replace("\r\n", "\n") == text
    assert max(len(line) for line in mail_bytes(outgoing(text=text), SENDER).split(b"\r\n")) <= 998


_LETTERS = st.characters(codec="utf-8", exclude_characters="\x00")
_TEXTS = st.one_of(
    st.text(_LETTERS, max_size=300),
    st.text("aé.=\n\r \t-ش", max_size=300),
    st.sampled_from(["", ".", "From here\n", "--=_alternative\n", "a" * 2000, "é" * 2000, "a \n\t\n", "=20\n"]),
)


def _lines(text: str) -> str:
    """As it is read: line ends are alike, and the last line has one."""
    alike = text.replace("\r\n", "\n").replace("\r", "\n")
    return alike if alike.endswith("\n") else f"{alike}\n"


@settings(deadline=None)
@given(text=_TEXTS, html=_TEXTS, image=st.binary(max_size=200), entry=st.binary(max_size=200))
def test_whatever_is_in_it_a_reader_finds_the_same_and_every_server_can_carry_it(
    text: str, html: str, image: bytes, entry: bytes
) -> None:
    """Read back by the standard library's parser. RFC 2045, 2.7: lines of at most 998 octets of ASCII, no NUL."""
    changes = {
        "text": text,
        "html": f"<p>{html}</p>",
        "images": (ImagePart("knee.1@wearwindow", image, "knee.png"),),
        "calendar": (CalendarPart("REQUEST", entry),),
    }
    raw = mail_bytes(outgoing(**changes), SENDER)
    lines = raw.split(b"\r\n")
    assert raw.isascii()
    assert max(len(line) for line in lines) <= 998
    assert not any(sign in line for line in lines for sign in (b"\r", b"\n", b"\x00"))
    parts = [*message_from_bytes(raw, policy=policy.default).walk()]
    assert [part.get_content_type() for part in parts] == [
        "multipart/mixed", "multipart/alternative", "text/plain", "multipart/related", "text/html", "image/png",
        "text/calendar",
    ]  # fmt: skip
    assert [defect for part in parts for defect in part.defects] == []
    _, _, plain, _, page, picture, calendar = parts
    contents = [part.get_payload(decode=True) for part in (plain, page, picture, calendar)]
    read = [content.decode() for content in contents[:2] if isinstance(content, bytes)]
    assert [_lines(one) for one in read] == [_lines(text), _lines(f"<p>{html}</p>")]
    assert contents[2:] == [image, entry]
    assert picture["Content-ID"] == "<knee.1@wearwindow>"


@pytest.mark.parametrize(
    "subject",
    ["Your tape comes off today", "=?utf-8?q?x?=", "=?" * 90, "Ж" * 90, "long words " * 20, "a" * 300, "100 % =20", ""],
)
def test_a_subject_comes_back_as_it_was(subject: str) -> None:
    assert mail(subject=subject)["Subject"] == " ".join(subject.split())
    assert max(len(line) for line in mail_bytes(outgoing(subject=subject), SENDER).split(b"\r\n")) <= 998


def test_the_same_message_is_the_same_mail_at_every_attempt() -> None:
    assert mail_bytes(outgoing(), SENDER) == mail_bytes(outgoing(), SENDER)


@pytest.mark.parametrize("name", ['a".ics', "a\r\nX: y", "é.ics", ""])
def test_a_file_name_that_is_not_plain_opens_no_header(name: str) -> None:
    with pytest.raises(TransportError) as refused:
        mail_bytes(outgoing(calendar=(CalendarPart("REQUEST", b"", name),)), SENDER)
    assert refused.value.code == 554


def _as_read(raw: bytes, field: str) -> str:
    """A header as RFC 2047, 6.2 has it read: white space between two encoded words is not shown.

    By hand: the standard library puts it where its own way of folding left it.
    """
    head = raw.partition(b"\r\n\r\n")[0].decode("ascii").replace("\r\n ", " ")
    (value,) = [line.partition(": ")[2] for line in head.split("\r\n") if line.startswith(f"{field}: ")]
    word = r"=\?utf-8\?([bq])\?([^?\s]*)\?="
    joined = re.sub(rf"({word})\s+(?={word})", r"\1", value)

    def decoded(found: re.Match[str]) -> str:
        how, text = found.group(1), found.group(2)
        return (b64decode(text) if how == "b" else a2b_qp(text.replace("_", " "), header=True)).decode()

    return re.sub(word, decoded, joined)


_SPOKEN = st.lists(st.text('aäéαβγشسوبЖ\x7f\x00=?_,<>"@', min_size=1, max_size=12), min_size=1, max_size=20).map(
    " ".join
)


@settings(deadline=None)
@given(text=_SPOKEN)
def test_words_of_names_and_subjects_do_not_run_together(text: str) -> None:
    raw = mail_bytes(outgoing(subject=text, to_name=text, from_name=text), SENDER)
    assert _as_read(raw, "Subject") == text
    assert _as_read(raw, "To") == f"{text} <ada@example.org>"
    assert _as_read(raw, "From") == f"{text} <{SENDER}>"
    assert not re.search(rb"[\x00\x7f]", raw)


@pytest.mark.parametrize(
    "text",
    [
        "عيادة شارع الميناء للعلاج الطبيعي وإعادة التأهيل في وسط المدينة",
        "Φυσικοθεραπευτήριο της οδού του λιμανιού στο κέντρο της πόλης",
        "Cabinet de kinésithérapie de la ruelle du port, près de la vieille église",
    ],
)
def test_a_clinics_long_name_comes_back_with_its_spaces(text: str) -> None:
    assert _as_read(mail_bytes(outgoing(from_name=text, subject=text), SENDER), "From") == f"{text} <{SENDER}>"
    assert _as_read(mail_bytes(outgoing(from_name=text, subject=text), SENDER), "Subject") == text


@pytest.mark.parametrize("address", ["a,b@example.org", "a>,<b@example.org", "a;b@example.org", "a(b)@example.org"])
@pytest.mark.parametrize("name", ["Ada", "Ada Żółć", ""])
def test_no_address_is_two_mailboxes_or_another_one(address: str, name: str) -> None:
    with pytest.raises(TransportError) as refused:
        mail_bytes(outgoing(to=address, to_name=name), SENDER)
    assert (refused.value.code, address in str(refused.value)) == (554, False)
