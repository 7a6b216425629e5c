"""One tap on a pain score, with and without JavaScript."""

import re
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client

from clinic.models import Clinic, User
from taping.models import Application, PainScore
from tests.factories import ApplicationFactory, StripPlanFactory

SignedIn = Callable[..., tuple[Client, User]]


@pytest.fixture(autouse=True)
def clock(now: datetime) -> Iterator[time_machine.Traveller]:
    with time_machine.travel(now, tick=False) as clock:
        yield clock


@pytest.fixture
def tape(clinic: Clinic) -> Application:
    made: Application = ApplicationFactory()
    return made


def say(client: Client, tape: Application, htmx: bool = False, **given: str) -> Any:
    headers = {"HX-Request": "true"} if htmx else {}
    told = {"moment": "before", "score": "6", **given}
    return client.post(f"/plans/{tape.plan_id}/pain/", told, headers=headers)


def scores() -> list[tuple[str, int | None]]:
    return list(PainScore.objects.order_by("id").values_list("moment", "score"))


@pytest.mark.parametrize(("role", "status"), [("therapist", 302), ("student", 302), ("desk", 403), ("manager", 403)])
def test_only_those_who_tape_record_pain(signed_in: SignedIn, tape: Application, role: str, status: int) -> None:
    client, _ = signed_in(role)
    assert say(client, tape).status_code == status
    assert len(scores()) == (status == 302)


def test_a_stranger_is_sent_to_the_log_in(client: Client, tape: Application) -> None:
    assert say(client, tape)["Location"].startswith("/log-in/")
    assert scores() == []


def test_a_get_never_acts(signed_in: SignedIn, tape: Application) -> None:
    assert signed_in()[0].get(f"/plans/{tape.plan_id}/pain/").status_code == 405


def test_one_tap_saves_and_leads_back_to_the_row(signed_in: SignedIn, tape: Application) -> None:
    client, _ = signed_in()
    response = say(client, tape, next=f"/patients/{tape.patient_id}/")
    assert response["Location"] == f"/patients/{tape.patient_id}/#pain-before-{tape.plan_id}"
    assert scores() == [("before", 6)]


@pytest.mark.parametrize("wanted", ["", "https://elsewhere.example.org/"])
def test_without_a_page_of_ours_it_leads_to_the_tape(signed_in: SignedIn, tape: Application, wanted: str) -> None:
    response = say(signed_in()[0], tape, next=wanted)
    assert response["Location"] == f"/applications/{tape.pk}/#pain-before-{tape.plan_id}"


def test_a_plan_without_tape_leads_back_to_the_plan(signed_in: SignedIn, clinic: Clinic) -> None:
    client, _ = signed_in()
    plan = StripPlanFactory()
    response = client.post(f"/plans/{plan.pk}/pain/", {"moment": "before", "score": "10"})
    assert response["Location"] == f"/plans/{plan.pk}/#pain-before-{plan.pk}"


def test_not_asked_is_an_answer(signed_in: SignedIn, tape: Application) -> None:
    client, _ = signed_in()
    say(client, tape, score="not_asked")
    assert scores() == [("before", None)]
    assert "Not asked" in client.get(f"/applications/{tape.pk}/").content.decode()


@pytest.mark.parametrize("score", ["", "11", "-1", "many", "1.5", "²"])
def test_what_is_no_score_is_refused_in_words(signed_in: SignedIn, tape: Application, score: str) -> None:
    client, _ = signed_in()
    say(client, tape, score=score)
    page = client.get(f"/applications/{tape.pk}/").content.decode()
    assert "Choose a number from 0 to 10, or “Not asked”." in page
    assert scores() == []


def test_an_unknown_moment_or_plan_is_not_found(signed_in: SignedIn, tape: Application) -> None:
    client, _ = signed_in()
    assert say(client, tape, moment="never").status_code == 404
    assert client.post("/plans/999999/pain/", {"moment": "before", "score": "1"}).status_code == 404


def test_htmx_gets_the_one_row_with_what_was_said(signed_in: SignedIn, tape: Application) -> None:
    client, user = signed_in()
    response = say(client, tape, htmx=True)
    page = response.content.decode()
    assert response.status_code == 200
    assert re.findall(r'<section class="pain" id="([^"]+)"', page) == [f"pain-before-{tape.plan_id}"]
    assert '<strong class="pain-said">6</strong> of 10' in page
    assert f"today 10:00, <bdi>{user.full_name}</bdi>" in page
    assert 'role="status" tabindex="-1" autofocus' in page


def test_htmx_reads_a_refusal_in_the_row_it_belongs_to(signed_in: SignedIn, tape: Application) -> None:
    client, _ = signed_in()
    say(client, tape)
    page = say(client, tape, htmx=True, score="2").content.decode()
    assert "Say why the score is corrected" in page
    assert "<details open>" in page
    assert scores() == [("before", 6)]


def test_a_correction_shows_both_scores_and_the_reason(
    signed_in: SignedIn, tape: Application, clock: time_machine.Traveller, now: datetime
) -> None:
    client, _ = signed_in()
    say(client, tape)
    clock.move_to(now + timedelta(minutes=5))
    say(client, tape, score="8", why="pressed <wrong>")
    page = client.get(f"/applications/{tape.pk}/").content.decode()
    assert '<strong class="pain-said">8</strong> of 10' in page
    assert "corrected: <bdi>pressed &lt;wrong&gt;</bdi>" in page
    assert "Before that 6 of 10, today 10:00" in page
