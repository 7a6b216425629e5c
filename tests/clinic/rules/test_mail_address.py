"""Mail addresses as they go over the wire, and those that would reach a stranger."""

import pytest

from clinic.rules.mail_address import UnusableAddress, wire_address


@pytest.mark.parametrize(
    ("address", "wire"),
    [
        ("o'neil+tape@example.com", "o'neil+tape@example.com"),
        ("info@bücher.example", "info@xn--bcher-kva.example"),
        ("info@BÜCHER.example", "info@xn--bcher-kva.example"),
        ("ada@EXAMPLE.org", "ada@EXAMPLE.org"),
        ('"a@b"@example.org', '"a@b"@example.org'),
    ],
)
def test_addresses_as_they_are_looked_up(address: str, wire: str) -> None:
    assert wire_address(address) == wire


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("jörg@example.com", "The part before @ may hold only"),
        ("info@faß.example", "mail could reach a stranger"),
        ("info@βόλος.example", "mail could reach a stranger"),  # its last letter is another sign in the older standard
        (f"ada@{'a' * 64}.example", "mail could reach a stranger"),
        (f"ada@{'ü' * 64}.example", "mail could reach a stranger"),
        ("", "like name@example.org"),
        ("ada", "like name@example.org"),
        ("@example.org", "like name@example.org"),
        ("ada@", "like name@example.org"),
        ("a b@example.org", "like name@example.org"),
        ("ada@example.org\r\nBcc: z@example.net", "like name@example.org"),
    ],
)
def test_addresses_that_reach_nobody_or_a_stranger_are_refused_with_the_reason(address: str, words: str) -> None:
    with pytest.raises(UnusableAddress, match=words):
        wire_address(address)
