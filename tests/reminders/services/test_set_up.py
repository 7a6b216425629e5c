"""send_test against real servers that are set up wrong: each failure in words that say what to try."""

import gc
import socket
import ssl
import subprocess
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from aiosmtpd.smtp import AuthResult
from django.core.management import CommandError, call_command
from pytest_django import Settings

from clinic.models import Clinic
from reminders.services.set_up import what_to_do
from reminders.transports import TransportError
from reminders.transports.smtp import MailServer, SmtpTransport
from tests.reminders.transports.conftest import Desk, Mailbox, desk, gateway_port, mail_server, mailbox, outgoing

__all__ = ["desk", "gateway_port", "mail_server", "mailbox"]

pytestmark = pytest.mark.django_db

USER, PASSWORD = "clinic", "walk:the@long/harbour"


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> tuple[ssl.SSLContext, Path]:
    folder = tmp_path_factory.mktemp("certificate")
    key, own = folder / "key.pem", folder / "own.pem"
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout", str(key), "-out", str(own),
         "-days", "2", "-subj", "/CN=127.0.0.1", "-addext", "subjectAltName=IP:127.0.0.1"],
        check=True, capture_output=True,
    )  # fmt: skip
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(own, key)
    return context, own


def knows(server: object, session: object, envelope: object, mechanism: str, data: object) -> AuthResult:
    login, password = getattr(data, "login", b""), getattr(data, "password", b"")
    return AuthResult(handled=False, success=(login, password) == (USER.encode(), PASSWORD.encode()))


def said(to: str = "ada@example.org") -> str:
    with pytest.raises(CommandError) as refused:
        call_command("send_test", "--to", to)
    words = str(refused.value)
    assert "\n" not in words
    assert [secret for secret in ("harbour", "s3cret", "ada@", "0123") if secret in words] == []
    return words


# The server of the tests sees no encryption that began with the connection, and leaves sockets to the collector.
@pytest.mark.filterwarnings("ignore:Requiring AUTH while not requiring TLS")
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
class TestMail:
    @pytest.fixture(autouse=True)
    def collected(self) -> Iterator[None]:
        """What the server left open is collected here, and not in the middle of another test."""
        yield
        gc.collect()

    @pytest.mark.parametrize("mode", ["starttls", "tls"])
    def test_with_encryption_and_the_right_password_it_arrives(
        self, mail_server: Callable[..., int], mailbox: Mailbox, certificate: tuple[ssl.SSLContext, Path], mode: str
    ) -> None:
        port = mail_server(**encrypted(certificate, mode), authenticator=knows, auth_required=True)
        trusted = ssl.create_default_context(cafile=str(certificate[1]))
        server = MailServer("127.0.0.1", port, mode, USER, PASSWORD)
        way_out = SmtpTransport(server, "clinic@example.org", timeout=5, tls=trusted)
        way_out.send(outgoing())
        way_out.close()
        assert len(mailbox.received) == 1

    @pytest.mark.parametrize(
        ("user", "password", "words"),
        [(USER, "wrong", "User or password in EMAIL_URL is wrong"), ("", "", "wants a user and a password")],
    )
    def test_a_wrong_or_missing_password(
        self,
        mail_server: Callable[..., int],
        mailbox: Mailbox,
        certificate: tuple[ssl.SSLContext, Path],
        user: str,
        password: str,
        words: str,
    ) -> None:
        port = mail_server(**encrypted(certificate, "starttls"), authenticator=knows, auth_required=True)
        trusted = ssl.create_default_context(cafile=str(certificate[1]))
        way_out = SmtpTransport(
            MailServer("127.0.0.1", port, "starttls", user, password), "clinic@example.org", timeout=5, tls=trusted
        )
        with pytest.raises(TransportError) as refused:
            way_out.send(outgoing())
        way_out.close()
        assert words in what_to_do(refused.value)
        assert mailbox.received == []

    def test_a_password_that_cannot_be_sent(
        self, mail_server: Callable[..., int], certificate: tuple[ssl.SSLContext, Path]
    ) -> None:
        port = mail_server(**encrypted(certificate, "starttls"), authenticator=knows)
        trusted = ssl.create_default_context(cafile=str(certificate[1]))
        server = MailServer("127.0.0.1", port, "starttls", USER, "pässwörd")
        with pytest.raises(TransportError) as refused:
            SmtpTransport(server, "clinic@example.org", timeout=5, tls=trusted).send(outgoing())
        assert (refused.value.handed_over, "unaccented" in what_to_do(refused.value)) == (False, True)

    @pytest.mark.parametrize("scheme", ["smtp+tls", "smtp+ssl"])
    def test_a_certificate_nobody_vouches_for(
        self,
        clinic: Clinic,
        settings: Settings,
        mail_server: Callable[..., int],
        mailbox: Mailbox,
        certificate: tuple[ssl.SSLContext, Path],
        scheme: str,
    ) -> None:
        port = mail_server(**encrypted(certificate, "tls" if scheme == "smtp+ssl" else "starttls"))
        settings.EMAIL_URL = f"{scheme}://127.0.0.1:{port}"
        assert "certificate is not one this machine trusts" in said()
        assert mailbox.received == []

    def test_encryption_from_the_start_at_a_port_that_begins_without(
        self, clinic: Clinic, settings: Settings, mail_server: Callable[..., int]
    ) -> None:
        settings.EMAIL_URL = f"smtp+ssl://127.0.0.1:{mail_server()}"
        assert "587 wants smtp+tls, 465 wants smtp+ssl" in said()

    def test_a_server_that_offers_no_encryption(
        self, clinic: Clinic, settings: Settings, mail_server: Callable[..., int], mailbox: Mailbox
    ) -> None:
        settings.EMAIL_URL = f"smtp+tls://127.0.0.1:{mail_server()}"
        assert "does not offer what EMAIL_URL asks for" in said()
        assert mailbox.received == []

    @pytest.mark.parametrize(
        ("command", "reply", "words"),
        [
            ("RCPT", "550 no such user", "knows no such mailbox"),
            ("MAIL", "553 not you", "SENDER_ADDRESS"),
            ("DATA", "451 later", "try again in some minutes"),
            ("DATA", "571 no", "Ask the operator of the mail server"),
        ],
    )
    def test_a_refusal(
        self,
        clinic: Clinic,
        settings: Settings,
        mail_server: Callable[..., int],
        mailbox: Mailbox,
        command: str,
        reply: str,
        words: str,
    ) -> None:
        mailbox.replies[command] = [reply]
        settings.EMAIL_URL = f"smtp://127.0.0.1:{mail_server()}"
        assert words in said()

    def test_nobody_there(self, clinic: Clinic, settings: Settings) -> None:
        settings.EMAIL_URL = "smtp://127.0.0.1:1"
        assert "Nothing listens there." in said()

    def test_a_name_nobody_has(self, clinic: Clinic, settings: Settings) -> None:
        settings.EMAIL_URL = "smtp+tls://mail.nobody.invalid"
        assert "No machine of that name was found" in said()


class TestTexts:
    @pytest.mark.parametrize(
        ("status", "words"),
        [
            (401, "SMS_GATEWAY_TOKEN is missing or wrong"),
            (404, "no gateway at that path"),
            (302, "lives at another address"),
            (422, "does not accept that number"),
            (500, "a fault of its own"),
            (418, "Ask the operator of the gateway"),
        ],
    )
    def test_a_refusal(
        self, clinic: Clinic, settings: Settings, gateway_port: int, desk: Desk, status: int, words: str
    ) -> None:
        desk.answers = [(status, b"no")]
        settings.SMS_GATEWAY_URL, settings.SMS_GATEWAY_TOKEN = f"http://127.0.0.1:{gateway_port}/", "s3cret"
        assert words in said("+12125550123")

    def test_an_answer_that_is_none(self, clinic: Clinic, settings: Settings, gateway_port: int, desk: Desk) -> None:
        desk.answers = [(200, b"<html>welcome</html>")]
        settings.SMS_GATEWAY_URL = f"http://127.0.0.1:{gateway_port}/"
        assert "look whether it arrived before you try again" in said("+12125550123")


def test_a_server_that_never_speaks_is_told_from_one_that_hangs_up() -> None:
    """Port 465 with smtp+tls is the usual case: each side waits for the other to begin."""
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        listening.listen()
        server = MailServer("127.0.0.1", listening.getsockname()[1], "plain")
        with pytest.raises(TransportError) as silent:
            SmtpTransport(server, "clinic@example.org", timeout=0.2).send(outgoing())
        hanging_up = threading.Thread(target=_hang_up, args=(listening, 2))
        hanging_up.start()
        with pytest.raises(TransportError) as broken:
            SmtpTransport(server, "clinic@example.org", timeout=5).send(outgoing())
        hanging_up.join()
    assert "ten seconds" in what_to_do(silent.value)
    assert "The connection broke." in what_to_do(broken.value)
    assert (silent.value.handed_over, broken.value.handed_over) == (False, False)


def _hang_up(listening: socket.socket, times: int) -> None:
    for _ in range(times):
        listening.accept()[0].close()


def encrypted(certificate: tuple[ssl.SSLContext, Path], mode: str) -> dict[str, object]:
    context = certificate[0]
    if mode == "tls":
        return {"ssl_context": context, "auth_require_tls": False}
    return {"tls_context": context, "require_starttls": True}
