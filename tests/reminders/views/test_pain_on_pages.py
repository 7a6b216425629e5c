"""Where pain is asked: on the page of the tape, for those who tape, with nothing chosen beforehand."""

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
import time_machine
from django.test import Client

from clinic.models import User
from taping.models import Application, PainScore, SkinReport
from tests.factories.clinic import NOW

SignedIn = Callable[..., tuple[Client, User]]
Text = Callable[[str], str]


def rows_shown(page: str) -> list[str]:
    return re.findall(r'<section class="pain" id="pain-(\w+)-\d+"', page)


def test_on_the_day_it_goes_on_before_and_right_after_are_asked(
    signed_in: SignedIn, tape: Application, text_of: Text
) -> None:
    signed_in()
    page = text_of(f"/applications/{tape.pk}/")
    assert rows_shown(page) == ["before", "after"]
    buttons = re.findall(r'<button class="btn btn-quiet" name="score" value="(\w+)"[ >]', page)
    assert buttons == [*map(str, range(11)), "not_asked"] * 2
    assert "(optional)" in page


def test_later_the_page_asks_how_it_is_now_first(
    signed_in: SignedIn, tape: Application, text_of: Text, frozen: time_machine.Traveller
) -> None:
    frozen.move_to(NOW + timedelta(days=2))
    signed_in()
    assert rows_shown(text_of(f"/applications/{tape.pk}/")) == ["next", "before", "after"]


@pytest.mark.parametrize("role", ["desk", "manager"])
def test_nobody_else_sees_pain(signed_in: SignedIn, tape: Application, text_of: Text, role: str) -> None:
    PainScore.objects.create(plan=tape.plan, moment="before", score=7, said_at=NOW, why="told later")
    signed_in(role)
    page = text_of(f"/applications/{tape.pk}/")
    assert rows_shown(page) == []
    assert "told later" not in page


@pytest.mark.parametrize(("role", "told"), [("therapist", True), ("desk", False)])
def test_an_open_skin_report_is_said_on_the_page_of_its_tape(
    signed_in: SignedIn, tape: Application, text_of: Text, role: str, *, told: bool
) -> None:
    signed_in(role)
    assert "A skin report of this tape is open" not in text_of(f"/applications/{tape.pk}/")
    SkinReport.objects.create(patient=tape.patient, application=tape, reported_at=NOW, reported_by="patient")
    assert ("A skin report of this tape is open" in text_of(f"/applications/{tape.pk}/")) is told
