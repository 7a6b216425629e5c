"""Who signed what came in by webhook, and when: HMAC-SHA256 (RFC 2104, FIPS 180-4) over the time and the body."""

import hashlib
import hmac
import re
from datetime import UTC, datetime, timedelta
from enum import StrEnum

WINDOW = timedelta(minutes=5)
"""How far the sender's clock and ours may be apart, either way; what is older may be somebody's recording."""

SHORTEST_KEY = 32
_SECONDS = re.compile(r"[0-9]{1,11}")


class Signed(StrEnum):
    """GOOD; FORGED: missing, malformed or made with another key; STALE: rightly signed, at another time."""

    GOOD = "good"
    FORGED = "forged"
    STALE = "stale"


def signature_of(key: str, seconds: str, body: bytes) -> str:
    """64 lower-case hexadecimal digits for a body sent at seconds since 1970 (UTC), written in digits."""
    return hmac.new(key.encode(), seconds.encode("ascii") + b"." + body, hashlib.sha256).hexdigest()


def signed_by(key: str, seconds: str, body: bytes, signature: str, *, now: datetime) -> Signed:
    """Judge a signature in constant time. An empty key signs nothing. now: aware."""
    if not key or not _SECONDS.fullmatch(seconds) or not signature.isascii():
        return Signed.FORGED
    if not hmac.compare_digest(signature_of(key, seconds, body).encode(), signature.lower().encode()):
        return Signed.FORGED
    apart = now - datetime.fromtimestamp(int(seconds), UTC)
    return Signed.GOOD if -WINDOW <= apart <= WINDOW else Signed.STALE
