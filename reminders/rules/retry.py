"""What an answer from a mail server or an SMS gateway means for the next attempt, and when that is.

SMTP reply codes: RFC 5321, 4.2 and RFC 4954; HTTP status codes: RFC 9110 and RFC 6585.
"""

from collections.abc import Callable
from datetime import datetime, timedelta
from enum import StrEnum

from clinic.rules.local_time import as_instant


class Outcome(StrEnum):
    """How an attempt ended."""

    ACCEPTED = "accepted"
    RETRY_SOON = "retry_soon"
    RETRY_LATER = "retry_later"
    NEVER = "never"
    UNCERTAIN = "uncertain"


FIRST_DELAY = {Outcome.RETRY_SOON: timedelta(minutes=1), Outcome.RETRY_LATER: timedelta(minutes=10)}
LONGEST_DELAY = timedelta(hours=2)
JITTER = 0.2
"""A delay is drawn from this share around its middle, so that many messages do not come back at one moment."""

_SMTP_LATER = frozenset({450, 452, 454})
_SMTP_OURS = frozenset({530, 534, 535, 538})
"""Refused because of our own credentials or encryption: no fault of the address, and true for every message."""

_HTTP_SOON = frozenset({408, 409, 425, 500, 502, 503})
"""409: in conflict with what it is doing just now (RFC 9110, 15.5.10), such as an earlier attempt with the same key."""
_HTTP_LATER = frozenset({401, 407, 429})
_HTTP_UNCERTAIN = frozenset({504})
"""The gateway was reached and what lies behind it was not heard from: the message may be on its way."""


def sort_smtp(code: int) -> Outcome:
    """Return what the SMTP reply `code` means; anything that is no final reply leaves the message uncertain."""
    if 200 <= code < 300:
        return Outcome.ACCEPTED
    if code in _SMTP_LATER or code in _SMTP_OURS:
        return Outcome.RETRY_LATER
    if 400 <= code < 500:
        return Outcome.RETRY_SOON
    return Outcome.NEVER if 500 <= code < 600 else Outcome.UNCERTAIN


def sort_http(status: int) -> Outcome:
    """Return what the HTTP `status` of an SMS gateway means; anything unheard of leaves the message uncertain.

    A redirect is a wrong address in our own settings and is not followed: it would carry a telephone number to
    a place nobody chose.
    """
    if 200 <= status < 300:
        return Outcome.ACCEPTED
    if status in _HTTP_LATER:
        return Outcome.RETRY_LATER
    if status in _HTTP_SOON:
        return Outcome.RETRY_SOON
    if status in _HTTP_UNCERTAIN:
        return Outcome.UNCERTAIN
    if 500 <= status < 600:
        return Outcome.RETRY_LATER
    return Outcome.NEVER if 300 <= status < 500 else Outcome.UNCERTAIN


def sort_silence(*, handed_over: bool) -> Outcome:
    """Return what a time-out or a broken connection means, before or after the message was handed over."""
    return Outcome.UNCERTAIN if handed_over else Outcome.RETRY_SOON


def next_attempt(
    outcome: Outcome,
    attempts: int,
    now: datetime,
    expires_at: datetime,
    draw: Callable[[], float],
    wait: timedelta = timedelta(0),
) -> datetime | None:
    """Return when (UTC) to try again after `attempts` (at least 1) that ended in `outcome`, or None: not again.

    The delay doubles with each attempt up to two hours, and is never shorter than the `wait` that the other side
    asked for (Retry-After: RFC 9110, 10.2.3). `draw` gives numbers from 0 to below 1, such as
    `random.Random(seed).random`. An attempt at or after `expires_at` (aware, exclusive) is none. Raises
    ValueError for naive datetimes and for fewer than one attempt.
    """
    if attempts < 1:
        msg = f"{attempts} attempts: the next one follows at least one"
        raise ValueError(msg)
    first = FIRST_DELAY.get(outcome)
    if first is None:
        return None
    # beyond this many doublings the cap has long been reached, and a larger power would overflow
    delay = min(first * 2 ** min(attempts - 1, 10), LONGEST_DELAY) * (1 + JITTER * (2 * draw() - 1))
    at = as_instant(now, "now") + max(delay, wait)
    return at if at < as_instant(expires_at, "expires_at") else None
