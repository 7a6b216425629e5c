"""The removal pictures as images: the same for everybody, so anybody's browser and any proxy may keep them.

An address names a part of the body and a side, never a person or a tape.
"""

import hashlib
from functools import lru_cache

from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_safe

from clinic.rules.tongue import ENGLISH, LANGUAGES, Tongue, tongue_of
from taping.drawings.removal import NUMBERS, removal_svg
from taping.rules.pictures import where_of
from taping.rules.places import Place, Region, Side, UnknownSideError

KEEP = "public, max-age=31536000, immutable"
"""A changed drawing has another address: the end of it is made from what is drawn."""


@login_not_required
@require_safe
def removal_picture(request: HttpRequest, where: str, side: str, number: int) -> HttpResponse:
    """One picture of a strip along a region or place on one side."""
    found, language = where_of(where), request.GET.get("in", ENGLISH.key)
    if found is None or side not in set(Side) or number not in NUMBERS or language not in LANGUAGES:
        raise Http404
    try:
        svg = _drawn(where, Side(side), number, language)
    except UnknownSideError:
        raise Http404 from None
    response = HttpResponse(svg, content_type="image/svg+xml")
    response.headers["Cache-Control"] = KEEP
    return response


def picture_address(where: Region | Place, side: Side, number: int, tongue: Tongue = ENGLISH) -> str:
    """The address of a picture, with what tells this drawing from an earlier one, and the language of its words."""
    drawn = hashlib.sha256(_drawn(where.key, side, number, tongue.key).encode()).hexdigest()[:8]
    language = "" if tongue is ENGLISH else f"&in={tongue.key}"
    return f"{reverse('removal_picture', args=[where.key, side.value, number])}?v={drawn}{language}"


@lru_cache(maxsize=1024)
def _drawn(where: str, side: Side, number: int, language: str) -> str:
    found = where_of(where)
    assert found is not None  # noqa: S101  # both callers hold a region or place
    return removal_svg(found, side, number, tongue_of(language))
