"""Where is the tape to go? One place in one tap, or several that are asked one after the other."""

from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.utils import timezone

from clinic.models import Patient
from clinic.views.access import clinic_of
from taping import selectors
from taping.models import Application
from taping.rules.places import REGIONS, Side, View, region_words
from taping.views.figures import figures
from taping.views.screen_context import MOST_PLACES, Place, goal_in, places_read, screen_address

MOST_AGAIN = 4
"""How many places taped before are offered by a button of their own; every other one is on the figure."""
SIDE_WORDS = {Side.LEFT: "left", Side.RIGHT: "right", Side.MIDLINE: "middle"}


def place_page(request: HttpRequest, patient: Patient) -> HttpResponse:
    """The figure and the list. ?several=1&place=knee.left&place=… chooses several; go=1 begins with the first."""
    chosen = places_read(request.GET.getlist("place"))
    several = "several" in request.GET
    if several and "go" in request.GET and chosen:
        return HttpResponseRedirect(screen_address(patient.pk, chosen))
    context: dict[str, Any] = {
        "patient": patient,
        "chosen": REGIONS.get(request.GET.get("region", "")),
        "most": MOST_PLACES,
        "nothing_chosen": several and "go" in request.GET,
        "drafts": _drafts(request, patient),
    }
    if several:
        context |= _several(chosen)
    else:
        context |= _one(goal_in(request)) | {"again": _again(patient)}
    name = "taping/screen_places.html" if several else "taping/screen_place.html"
    return render(request, name, context, status=422 if context["nothing_chosen"] else 200)


def _drafts(request: HttpRequest, patient: Patient) -> Any:
    return selectors.drafts_open(patient, now=timezone.now(), zone=clinic_of(request).zone)


def _again(patient: Patient) -> list[tuple[Application, str]]:
    """Places taped before with the address that screens each anew for its goal; only place and goal go along."""
    return [
        (tape, screen_address(patient.pk, [(tape.region, tape.side)], goal=tape.plan.goal))
        for tape in selectors.taped_before(patient)[:MOST_AGAIN]
    ]


def _one(goal: str) -> dict[str, Any]:
    def address(region: str, side: str) -> str:
        return f"?{urlencode({'region': region, 'side': side, 'goal': goal})}"

    regions = [
        (
            region,
            [(address(region.key, side), region_words(region.key, side), SIDE_WORDS[side]) for side in region.sides],
        )
        for region in REGIONS.values()
    ]
    return {"front": figures(View.FRONT, address), "back": figures(View.BACK, address), "regions": regions}


def _several(chosen: list[Place]) -> dict[str, Any]:
    marked = frozenset(chosen)

    def address(region: str, side: str) -> str:
        """The same page with this place chosen, or no longer."""
        place = (region, side)
        others = [one for one in chosen if one != place]
        rest = others if place in marked else [*others, place]
        return f"?{urlencode([('several', '1'), *(('place', f'{one}.{other}') for one, other in rest)])}"

    regions = [
        (
            region,
            [
                (f"{region.key}.{side}", region_words(region.key, side), SIDE_WORDS[side], (region.key, side) in marked)
                for side in region.sides
            ],
        )
        for region in REGIONS.values()
    ]
    return {
        "front": figures(View.FRONT, address, marked),
        "back": figures(View.BACK, address, marked),
        "regions": regions,
        "places": [region_words(*one) for one in chosen],
    }
