"""Secret addresses tried by the thousand: the same words, the same work, and nobody honest is shut out."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.core.cache import cache
from django.db import connection
from django.db.models.sql.compiler import SQLCompiler
from django.test import Client
from django.test.utils import CaptureQueriesContext
from pytest_django import Settings

from clinic.models import Clinic, Visit
from clinic.services.events import Actor
from clinic.services.feeds import feed_make
from clinic.views.guesses import FREE, WITHIN
from reminders.models import Link, StopLink
from reminders.services.links import link_revoke, link_token, links_keep
from reminders.services.stop_links import stop_link_keep, stop_token
from taping.models import Application
from tests.factories import ApplicationFactory, UserFactory, VisitFactory
from tests.factories.clinic import NOW

STRANGER, NEIGHBOUR = "203.0.113.9", "203.0.113.10"


def tried(address: str, times: int, origin: str = STRANGER, **headers: Any) -> list[tuple[int, bytes, str]]:
    client = Client(REMOTE_ADDR=origin, **headers)
    answers = [client.get(address.format(f"{number:043}")) for number in range(times)]
    return [(one.status_code, one.content, one.headers.get("Retry-After", "")) for one in answers]


@pytest.mark.parametrize("address", ["/t/{}/", "/t/{}/off/", "/t/{}/paper/", "/u/{}/", "/feed/{}/visits.ics"])
def test_by_the_dozen_they_are_told_to_come_back_later_in_the_same_words(clinic: Clinic, address: str) -> None:
    answers = tried(address, FREE + 3)
    assert [(status, later) for status, _, later in answers] == [(404, "")] * FREE + [(429, str(WITHIN))] * 3
    assert len({content for _, content, _ in answers}) == 1


def test_they_count_together_wherever_they_are_tried(clinic: Clinic) -> None:
    for address in ("/t/{}/", "/u/{}/", "/feed/{}/visits.ics"):
        tried(address, FREE // 3)
    assert [status for status, _, _ in tried("/t/{}/", 1)] == [429]


def test_a_one_click_stop_with_a_wrong_address_costs_as_much(clinic: Clinic) -> None:
    client = Client(REMOTE_ADDR=STRANGER)
    answers = [client.post(f"/u/{number}/", {"List-Unsubscribe": "One-Click"}) for number in range(FREE + 1)]
    assert [one.status_code for one in answers] == [404] * FREE + [429]


def test_the_right_links_open_behind_the_address_of_hundreds_of_guesses(
    tape: Application, token: str, visit: Visit
) -> None:
    """A family, a clinic or a whole telephone network may share one address with whoever guesses."""
    assert tried("/t/{}/", 300)[-1][0] == 429
    client = Client(REMOTE_ADDR=STRANGER)
    feed = feed_make(actor=Actor(word="test"), now=NOW, therapist=UserFactory())
    right = [f"/t/{token}/", f"/t/{token}/skin/", f"/t/{token}/paper/", f"/feed/{feed}/visits.ics"]
    right += [f"/u/{link_token(tape, 'stop')}/", f"/u/{stop_token(visit)}/"]
    assert [client.get(one).status_code for one in right] == [200] * len(right)
    assert client.post(f"/t/{token}/off/").status_code == 303
    assert client.post(f"/u/{stop_token(visit)}/", {"List-Unsubscribe": "One-Click"}).status_code == 200


def test_another_address_is_not_slowed_down_and_after_a_while_nobody_is(
    clinic: Clinic, frozen: time_machine.Traveller
) -> None:
    tried("/t/{}/", FREE + 1)
    assert tried("/t/{}/", 1, NEIGHBOUR)[0][0] == 404
    frozen.move_to(NOW + timedelta(seconds=WITHIN + 1))
    assert tried("/t/{}/", 1)[0][0] == 404


def test_a_home_is_one_place_however_many_addresses_its_provider_gives(clinic: Clinic) -> None:
    for number in range(FREE):
        tried("/t/{}/", 1, f"2001:db8:7:1::{number + 1:x}")
    assert tried("/t/{}/", 1, "2001:db8:7:1:ffff::1")[0][0] == 429
    assert tried("/t/{}/", 1, "2001:db8:7:2::1")[0][0] == 404


def test_a_made_up_header_begins_no_new_count(clinic: Clinic) -> None:
    tried("/t/{}/", FREE)
    assert tried("/t/{}/", 1, HTTP_X_FORWARDED_FOR="198.51.100.4")[0][0] == 429


def test_behind_a_proxy_each_visitor_counts_alone(clinic: Clinic, settings: Settings) -> None:
    settings.PROXY_COUNT = 1
    tried("/t/{}/", FREE + 1, "10.0.0.1", HTTP_X_FORWARDED_FOR=STRANGER)
    assert tried("/t/{}/", 1, "10.0.0.1", HTTP_X_FORWARDED_FOR=NEIGHBOUR)[0][0] == 404
    assert tried("/t/{}/", 1, "10.0.0.1", HTTP_X_FORWARDED_FOR=STRANGER)[0][0] == 429


def test_what_is_kept_names_no_address(clinic: Clinic) -> None:
    tried("/t/{}/", 2)
    kept = str(cache._cache)  # type: ignore[attr-defined]
    assert "guesses:" in kept
    assert STRANGER not in kept


def test_without_redis_every_page_answers_as_always(clinic: Clinic, token: str, settings: Settings) -> None:
    settings.CACHES = {
        "default": {
            "BACKEND": "django.core.cache.backends.redis.RedisCache",
            "LOCATION": "redis://127.0.0.1:1/0",
        }
    }
    assert {status for status, _, _ in tried("/t/{}/", 3)} == {404}
    assert Client().get(f"/t/{token}/").status_code == 200


@pytest.fixture
def visit(clinic: Clinic) -> Visit:
    made: Visit = VisitFactory()
    stop_link_keep(visit=made)
    return made


def wrong_tokens(tape: Application, clinic: Clinic, stop: bool) -> dict[str, str]:
    """Every way to be wrong; stop: at the address at which messages stop."""
    here, elsewhere = ("stop", "tape") if stop else ("tape", "stop")
    revoked: Application = ApplicationFactory()
    links_keep(application=revoked, zone=clinic.zone)
    before = link_token(revoked, here)
    link_revoke(actor=Actor(word="test"), now=NOW, application=revoked)
    expired: Application = ApplicationFactory()
    links_keep(application=expired, zone=clinic.zone)
    Link.objects.filter(application=expired).update(expires_at=NOW)
    read_late: Visit = VisitFactory()
    stop_link_keep(visit=read_late)
    StopLink.objects.filter(visit=read_late).update(expires_at=NOW)
    return {
        "unknown": "A" * 43,
        "short": "x",
        "long": "A" * 2000,
        "one letter off": link_token(tape, here)[:-1],
        "of the other purpose": link_token(tape, elsewhere),
        "revoked": before,
        "expired": link_token(expired, here),
        "of an old visit": stop_token(read_late),
        "of nobody's alphabet": "é",
    }


@pytest.mark.parametrize("stop", [False, True], ids=["page", "stop"])
def test_every_wrong_token_takes_the_same_work(tape: Application, clinic: Clinic, stop: bool) -> None:
    """The same queries, each finding nothing: neither a row nor a key's work is left from which time could be read."""
    work = {}
    for name, token in wrong_tokens(tape, clinic, stop).items():
        with CaptureQueriesContext(connection) as queries, rows_counted() as rows:
            answer = Client().get(f"/u/{token}/" if stop else f"/t/{token}/")
        asked = [re.sub(r"'[0-9a-f]{64}'", "'…'", query["sql"]) for query in queries]
        work[name] = (answer.status_code, answer.content, asked, rows)
    assert len({str(one) for one in work.values()}) == 1
    about_links = [sql for sql in work["unknown"][2] if "token_sha256" in sql]
    assert len(about_links) == (2 if stop else 1)
    assert work["unknown"][3] == [0] * len(about_links)
    with rows_counted() as rows:
        Client().get(f"/u/{link_token(tape, 'stop')}/" if stop else f"/t/{link_token(tape)}/")
    assert 1 in rows


@contextmanager
def rows_counted() -> Iterator[list[int]]:
    """How many rows each query of the block gave to the program."""
    counted: list[int] = []
    real = SQLCompiler.results_iter

    def counting(compiled: Any, *args: Any, **options: Any) -> Any:
        found = list(real(compiled, *args, **options))
        counted.append(len(found))
        return iter(found)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(SQLCompiler, "results_iter", counting)
        yield counted


def test_an_expired_form_of_a_wrong_link_says_nothing_of_anybodys_language(
    clinic: Clinic, tape: Application, token: str
) -> None:
    """Without the form's token; the right link speaks the patient's language, a guess the clinic's."""
    clinic.languages = {"es": {"name": "Nur Halloran", "on": "2027-03-01"}}
    clinic.save()
    type(tape.patient).objects.update(language="es")
    client = Client(enforce_csrf_checks=True, REMOTE_ADDR=STRANGER)
    assert 'lang="es"' in client.post(f"/t/{token}/off/").content.decode()
    answers = [client.post(f"/t/{'A' * number}/off/") for number in range(1, FREE + 2)]
    assert [one.status_code for one in answers] == [404] * FREE + [429]
    assert len({one.content for one in answers}) == 1
