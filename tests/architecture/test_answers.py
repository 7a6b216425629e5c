"""Every answer of every address: kept by nobody, framed by nobody, guessed by nobody, and on a public run sealed.

Over the address table as the code has it, so that a new page is held to it from its first day.
"""

from collections.abc import Callable, Iterator
from contextlib import suppress
from typing import Any

import pytest
from django.db import transaction
from django.http.response import HttpResponseBase
from django.test import Client

from clinic.models import Clinic, User
from clinic.views.who_may import Door, doors
from tests.architecture.test_who_may import NOTHING, Undone, address, as_role, rows

__all__ = ["rows"]

POLICY = (
    "default-src 'self'", "script-src 'self'", "style-src 'self'", "object-src 'none'", "base-uri 'none'",
    "frame-ancestors 'none'", "form-action 'self'",
)  # fmt: skip
YEAR = 365 * 24 * 60 * 60
TYPES = ("text/", "application/json", "application/pdf", "application/zip", "image/svg+xml", "application/fhir")


def answer_of(client: Client, method: str, wanted: str) -> Any:
    """The answer; nothing that was done for it stays."""
    answer: Any = None
    with suppress(Undone), transaction.atomic():
        answer = getattr(client, method)(wanted, secure=True)
        raise Undone
    return answer


def wrong(answer: HttpResponseBase) -> Iterator[str]:
    """What is missing in the headers of one answer, whatever it says."""
    headers = answer.headers
    policy = headers.get("Content-Security-Policy", "")
    parts = {part.strip() for part in policy.split(";")}
    yield from (f"no {part}" for part in POLICY if part not in parts)
    if "unsafe" in policy or "*" in policy:
        yield f"policy {policy}"
    if headers.get("X-Content-Type-Options") != "nosniff":
        yield "the browser may guess what it is"
    if headers.get("X-Frame-Options") != "DENY":
        yield "it may be framed"
    if headers.get("Referrer-Policy") != "same-origin":
        yield "its address leaves by the Referer"
    if headers.get("Cross-Origin-Opener-Policy") != "same-origin":
        yield "another site keeps a hand on its window"
    if "Access-Control-Allow-Origin" in headers:
        yield "other sites may read it"
    seal = f"max-age={YEAR}; includeSubDomains; preload"
    if headers.get("Strict-Transport-Security") != seal:
        yield f"not sealed: {headers.get('Strict-Transport-Security')}"
    yield from _type_wrong(headers.get("Content-Type", ""), answer)


def _type_wrong(kind: str, answer: HttpResponseBase) -> Iterator[str]:
    empty = not answer.streaming and not getattr(answer, "content", b"")
    if empty or answer.status_code == 304:
        return
    if not kind.startswith(TYPES):
        yield f"type {kind!r}"
    if kind.startswith("text/") and "charset=utf-8" not in kind.lower():
        yield f"no charset: {kind}"


def kept(door: Door, answer: HttpResponseBase) -> bool:
    """Whether a browser or proxy may keep it. Pictures of how tape comes off name nobody and are the same for all."""
    control = answer.headers.get("Cache-Control", "")
    return door.name not in ("removal_picture", "icon") and "no-store" not in control.split(", ")


@pytest.fixture
def public(settings: Any) -> None:
    """What a public run adds."""
    settings.SECURE_HSTS_SECONDS = YEAR
    settings.SECURE_HSTS_INCLUDE_SUBDOMAINS = settings.SECURE_HSTS_PRELOAD = True


@pytest.mark.django_db
def test_every_answer_carries_every_header(rows: dict[str, int], public: None) -> None:
    """Asked by everybody who may and by a stranger, of what is there and of what is not, read and posted."""
    people: dict[str, Callable[[], Client]] = {"manager": as_role("manager"), "therapist": as_role("therapist")}
    people["stranger"] = Client
    asked = [(who, "get", rows) for who in people] + [("therapist", "post", rows), ("manager", "get", NOTHING)]
    faults = []
    for door in doors():
        for who, method, keys in asked:
            wanted = address(door, keys)
            answer = answer_of(people[who](), method, wanted)
            found = [*wrong(answer), *(["it may be kept"] if kept(door, answer) else [])]
            faults += [f"{who} {method} {wanted} ({answer.status_code}): {one}" for one in found]
    assert faults == []


@pytest.mark.django_db
@pytest.mark.parametrize(
    "wanted", ["/no-such-page/", "/static/", "/static/css/", "/static/no-such.css", "/.git/config"]
)
def test_an_address_that_is_none_carries_them_too(client: Client, clinic: Clinic, public: None, wanted: str) -> None:
    answer = answer_of(client, "get", wanted)
    assert answer.status_code == 404
    assert [one for one in wrong(answer) if "type" not in one] == []


@pytest.mark.django_db
@pytest.mark.parametrize("method", ["trace", "put", "patch"])
def test_methods_that_nobody_needs_are_refused(clinic: Clinic, method: str) -> None:
    """TRACE above all, which would hand a script the cookies that it may not read (RFC 9110, 9.3.8)."""
    client = as_role("manager")()
    found = {door.name: answer_of(client, method, address(door, NOTHING)).status_code for door in doors()}
    assert {name: status for name, status in found.items() if status not in (302, 403, 404, 405, 410, 429)} == {}


@pytest.mark.django_db
def test_no_cookie_tells_anything_and_each_is_held_back_from_scripts_and_other_sites(
    clinic: Clinic, client: Client
) -> None:
    user: User = User.objects.create_user("mira", "walk the long harbour", full_name="Mira Holm", is_therapist=True)
    client.post("/log-in/", {"username": "mira", "password": "walk the long harbour"})
    client.post("/patients/add/", {"full_name": "Ada Quill"})
    names = set(client.cookies)
    assert names <= {"wearwindow", "wearwindow-form", "wearwindow-last", "wearwindow-device"}
    for cookie in client.cookies.values():
        assert (cookie["httponly"], cookie["samesite"], cookie["path"], cookie["domain"]) == (True, "Lax", "/", "")
        assert "Quill" not in cookie.value
        assert user.full_name not in cookie.value
