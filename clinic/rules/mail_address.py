"""Mail addresses as they go over the wire, and those that would reach somebody else."""


class UnusableAddress(ValueError):
    """A mail to this address reaches nobody, or a stranger. The text says what would work, and names no address."""


def wire_address(address: str) -> str:
    """Return `address` with its domain as it is looked up: info@bücher.example → info@xn--bcher-kva.example.

    The built-in codec knows the older of the two standards for domains (IDNA 2003, RFC 3490), which turns some letters
    into others. Where the way back gives another domain, the mail would go to a stranger. Letters outside ASCII before
    the @ need an extension (RFC 6531) that not every server on the way has. Raises UnusableAddress.
    """
    local, at, domain = address.rpartition("@")
    if not (at and local and domain) or not address.isprintable() or " " in address:
        raise UnusableAddress("Write the e-mail address like name@example.org.")
    if not local.isascii():
        raise UnusableAddress("The part before @ may hold only letters without accents, digits and signs.")
    try:
        wire = domain.encode("idna").decode("ascii")
        same = domain.isascii() or wire.encode("ascii").decode("idna") == domain.lower()
    except UnicodeError:
        same = False
    if not same:
        raise UnusableAddress(
            "The part after @ holds a letter that some programs take for another, so mail could reach a stranger. "
            "Ask for the address as it is written in plain letters."
        )
    return f"{local}@{wire}"
