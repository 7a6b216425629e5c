"""No page hides another one behind the same address."""

from collections import Counter
from collections.abc import Iterator

from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver

from clinic.models import User
from taping.models import Application
from tests.factories import ScreenFactory, StripFactory


def routes(patterns: list[URLPattern | URLResolver], before: str = "") -> Iterator[str]:
    for pattern in patterns:
        route = f"{before}{pattern.pattern}"
        if isinstance(pattern, URLResolver):
            yield from routes(pattern.url_patterns, route)
        else:
            yield route


def test_every_address_leads_to_one_page_only() -> None:
    found = Counter(routes(get_resolver().url_patterns))
    assert [route for route, number in found.items() if number > 1] == []


def test_each_sheet_is_offered_where_it_is_wanted(client: Client, tape: Application) -> None:
    hold = ScreenFactory(patient=tape.patient, outcome="do_not_tape")
    StripFactory(plan=tape.plan)
    therapist: User = tape.therapist
    client.force_login(therapist, backend="django.contrib.auth.backends.ModelBackend")
    offered = {
        f"/applications/{tape.pk}/": [f"/applications/{tape.pk}/sheet/", f"/applications/{tape.pk}/record/"],
        f"/screens/{hold.pk}/": [f"/screens/{hold.pk}/no-tape/"],
        "/": ["/sheets/"],
    }
    for page, sheets in offered.items():
        text = client.get(page).content.decode()
        assert [sheet for sheet in sheets if f'href="{sheet}"' not in text] == []


def test_a_screen_that_permits_tape_offers_no_sheet_against_it(client: Client, tape: Application) -> None:
    client.force_login(tape.therapist, backend="django.contrib.auth.backends.ModelBackend")
    assert "/no-tape/" not in client.get(f"/screens/{tape.plan.screen_id}/").content.decode()
