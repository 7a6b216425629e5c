"""Cuts at the ends of what tape can be: they may be looked at, are not called by a tension's name, and not added."""

from collections.abc import Callable, Iterator
from datetime import datetime
from typing import Any

import pytest
import time_machine
from django.test import Client

from clinic.models import User
from taping.models import StripPlan
from tests.factories import StripPlanFactory

# Span 300 mm, anchors 50 mm, tape not measured: 330 mm of paper lie without stretch, 267.1 mm with all of it.
PIECE = {
    "span": "30",
    "by": "paper",
    "shape": "i",
    "start": "one_end",
    "direction": "none",
    "anchor_first": "5",
    "anchor_last": "5",
}
AT_MOST, AT_LEAST = "Cut at most 33.0 cm for this span.", "cut at least 26.8 cm."


@pytest.fixture(autouse=True)
def _at_ten(now: datetime) -> Iterator[None]:
    with time_machine.travel(now, tick=False):
        yield


@pytest.fixture
def plan(db: None) -> StripPlan:
    made: StripPlan = StripPlanFactory()
    return made


@pytest.fixture
def therapist(signed_in: Callable[..., tuple[Client, User]]) -> Client:
    return signed_in()[0]


def post(client: Client, plan: StripPlan, paper: str, do: str) -> Any:
    return client.post(f"/plans/{plan.pk}/", {**PIECE, "paper": paper, "do": do, "version": plan.version})


def beside_the_piece(page: str) -> str:
    return page.partition('<div id="id_paper_error">')[2].partition("</div>")[0]


@pytest.mark.parametrize(("paper", "words"), [("36", AT_MOST), ("25", AT_LEAST)])
def test_a_piece_that_cannot_be_laid_is_shown_with_its_caution(
    therapist: Client, plan: StripPlan, paper: str, words: str
) -> None:
    response = post(therapist, plan, paper, "show")
    assert response.status_code == 200
    assert words in response.content.decode()


@pytest.mark.parametrize(("paper", "words"), [("36", AT_MOST), ("25", AT_LEAST)])
def test_a_piece_that_cannot_be_laid_is_not_added_and_its_field_says_what_would_work(
    therapist: Client, plan: StripPlan, paper: str, words: str
) -> None:
    response = post(therapist, plan, paper, "add")
    assert (response.status_code, plan.strips.count()) == (422, 0)
    assert words in beside_the_piece(response.content.decode())
    assert f'value="{paper}"' in response.content.decode()


@pytest.mark.parametrize("paper", ["33", "26.8"])
def test_the_lengths_that_would_work_are_added(therapist: Client, plan: StripPlan, paper: str) -> None:
    assert post(therapist, plan, paper, "add").status_code == 302
    assert plan.strips.count() == 1


@pytest.mark.parametrize(
    ("tension", "said"),
    [
        # 5 mm of a zone of 200 mm are a fortieth: 6.25 % of what tape gives that goes to 140 %, more once stretched.
        ("0", "Tension <strong>loose to 7 %</strong> of what this tape can give</p>"),
        ("5", "Tension <strong>loose to 12 %</strong> of what this tape can give</p>"),
        ("7", "Tension <strong>0 to 14 %</strong> of what this tape can give: very light</p>"),
        ("95", "Tension <strong>86 to 104 %</strong> of what this tape can give</p>"),
    ],
)
def test_no_tension_is_named_where_the_measure_may_be_loose_or_too_much(
    therapist: Client, plan: StripPlan, tension: str, said: str
) -> None:
    given = {**PIECE, "by": "tension", "tension": tension}
    assert said in therapist.post(f"/plans/{plan.pk}/cut/", given).content.decode()
