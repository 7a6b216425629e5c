"""Guesses at secret addresses: patients' links, the stop address, calendars.

Counted are wrong addresses alone, after the look-up. The right one opens however many were tried from the same place,
so that a stranger on a clinic's or family's network shuts nobody out. Nobody is kept waiting on an open connection
either: threads held that way would be the stranger's to take.
"""

from django.core.cache import cache
from django.http import HttpRequest, HttpResponse
from django.utils.crypto import salted_hmac
from redis.exceptions import RedisError

from clinic.rules.origins import place_of
from clinic.views.access import origin_of

FREE = 30
"""Wrong addresses in a row that are answered as always: a torn link, tried by a whole waiting room. No source."""
WITHIN = 10 * 60
"""Seconds from the first of them until they are forgotten."""


def wrong_address(request: HttpRequest, answer: HttpResponse) -> HttpResponse:
    """answer, and from too many guesses on the same words with 429 and when to come back (RFC 6585, 4)."""
    if _count(request) > FREE:
        answer.status_code = 429
        answer.headers["Retry-After"] = str(WITHIN)
    return answer


def _count(request: HttpRequest) -> int:
    """How many this place has tried, this one included; 0 where nobody can say, since pages matter more."""
    place = place_of(origin_of(request)) or "nowhere"
    key = f"guesses:{salted_hmac('wearwindow.guesses', place).hexdigest()}"  # no address is kept
    try:
        if cache.add(key, 1, WITHIN):
            return 1
        return cache.incr(key)
    except (RedisError, OSError, ValueError):  # no Redis, or forgotten between the two
        return 0
