"""From where somebody came, as it is kept with an event. Addresses are those of RFC 5737 and RFC 3849."""

import pytest

from clinic.rules.origins import network_of, origin, place_of


@pytest.mark.parametrize(
    ("remote", "forwarded", "proxies", "kept"),
    [
        ("192.0.2.7", "", 0, "192.0.2.7"),
        ("192.0.2.7", "203.0.113.9", 0, "192.0.2.7"),  # whoever asks wrote that header: no proxy is believed
        ("192.0.2.7", "203.0.113.9", 1, "203.0.113.9"),
        ("192.0.2.7", "198.51.100.1, 203.0.113.9", 1, "203.0.113.9"),  # the first entry can be made up
        ("192.0.2.7", "198.51.100.1, 203.0.113.9", 2, "198.51.100.1"),
        ("192.0.2.7", "203.0.113.9", 2, "203.0.113.9"),
        ("192.0.2.7", " ", 1, "192.0.2.7"),
        ("192.0.2.7", "unknown", 1, None),
        ("::ffff:192.0.2.7", "", 0, "192.0.2.7"),
        ("fe80::1%eth0", "", 0, "fe80::1"),
        ("2001:db8::0:7", "", 0, "2001:db8::7"),
        (None, "", 0, None),
        ("", "", 0, None),
    ],
)
def test_the_address_kept(remote: str | None, forwarded: str, proxies: int, kept: str | None) -> None:
    assert origin(remote, forwarded, proxies) == kept


@pytest.mark.parametrize(
    ("address", "network"),
    [("192.0.2.77", "192.0.2.0"), ("2001:db8:1:2::7", "2001:db8:1::"), (None, None), ("nobody", None)],
)
def test_a_patients_address_is_shortened(address: str | None, network: str | None) -> None:
    assert network_of(address) == network


@pytest.mark.parametrize(
    ("address", "place"),
    [
        ("192.0.2.77", "192.0.2.77"),
        ("::ffff:192.0.2.77", "192.0.2.77"),
        ("2001:db8:1:2:3::7", "2001:db8:1:2::"),
        (None, None),
        ("nobody", None),
    ],
)
def test_tries_are_counted_by_home(address: str | None, place: str | None) -> None:
    assert place_of(address) == place
