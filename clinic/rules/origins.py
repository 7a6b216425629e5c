"""From where somebody came: the address that is kept with an event."""

from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network

_HOME_BITS = 64
_KEPT_BITS = {4: 24, 6: 48}
"""Of a patient's address only the network is kept. Common practice, no source."""


def origin(remote: str | None, forwarded: str, proxies: int) -> str | None:
    """The address of whoever asks, or None where none can be read.

    remote: who opened the connection. forwarded: the X-Forwarded-For header; each proxy adds whom it spoke to at its
    end, so of proxies believed that many entries from the end is the first that nobody could have made up.
    """
    entries = [entry.strip() for entry in forwarded.split(",")] if proxies and forwarded.strip() else []
    found = _address(entries[-min(proxies, len(entries))] if entries else remote or "")
    return None if found is None else str(found)


def network_of(address: str | None) -> str | None:
    """The first address of the network, which tells the town or the provider and not the person."""
    found = _address(address or "")
    if found is None:
        return None
    return str(ip_network((found, _KEPT_BITS[found.version]), strict=False).network_address)


def place_of(address: str | None) -> str | None:
    """As what tries are counted: an IPv4 address itself; of IPv6 the first address of the home or office.

    What one of them is given of IPv6 (RFC 6177, 2): its owner may change the rest at will.
    """
    found = _address(address or "")
    if found is None or found.version == 4:
        return None if found is None else str(found)
    return str(ip_network((found, _HOME_BITS), strict=False).network_address)


def _address(text: str) -> IPv4Address | IPv6Address | None:
    try:
        found = ip_address(text.partition("%")[0])
    except ValueError:
        return None
    mapped = found.ipv4_mapped if isinstance(found, IPv6Address) else None
    return mapped or found
