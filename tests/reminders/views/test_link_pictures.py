"""The patient's page in pictures: how the tape comes off, the sheet to print, the days, the numbers to tap."""

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from re import findall

import pytest
import time_machine
from django.contrib.staticfiles import finders
from django.test import Client

from clinic.models import Clinic
from reminders.services.links import link_token, links_keep
from taping.models import Application, StripEvent
from tests.factories import ApplicationFactory, ScreenFactory, StripFactory
from tests.reminders.views.test_link import state_of


class TestThePicturesAndThePaper:
    def test_three_pictures_say_how_it_comes_off_and_have_words_for_those_who_cannot_see_them(
        self, token: str, text_of: Callable[[str], str]
    ) -> None:
        page = text_of(f"/t/{token}/")
        assert [f'src="/pictures/knee/left/{number}.svg?v=' in page for number in (1, 2, 3)] == [True] * 3
        assert 'alt="Left knee, from the front. The end of the tape nearer the thigh is marked: start."' in page
        assert "Start at the end nearer your thigh." in page

    def test_the_top_strip_is_drawn_first(self, tape: Application, token: str, text_of: Callable[[str], str]) -> None:
        StripFactory(plan=tape.plan, position=1, place="patellar_tendon")
        StripFactory(plan=tape.plan, position=2)
        page = text_of(f"/t/{token}/")
        assert page.index("/pictures/knee/left/3.svg") < page.index("/pictures/patellar_tendon/left/1.svg")
        assert page.index("The strip on top") < page.index("The strip beneath")

    def test_a_strip_that_is_off_already_is_not_drawn(
        self, tape: Application, token: str, text_of: Callable[[str], str], now: datetime
    ) -> None:
        StripFactory(plan=tape.plan, position=1, place="patellar_tendon")
        gone = StripFactory(plan=tape.plan, position=2)
        StripEvent.objects.create(application=tape, strip=gone, what="strip_off", at=now, saved_at=now)
        page = text_of(f"/t/{token}/")
        assert "/pictures/patellar_tendon/left/3.svg" in page
        assert "/pictures/knee/" not in page

    def test_over_a_reported_blister_there_is_no_picture_and_no_oil(
        self, client: Client, token: str, text_of: Callable[[str], str]
    ) -> None:
        client.post(f"/t/{token}/skin/", {"send": "yes", "signs": ["blister"], "words": ""})
        page = text_of(f"/t/{token}/")
        assert "Do not pull over the sore place" in page
        assert "/pictures/" not in page
        assert "Rub oil" not in page

    @pytest.mark.parametrize("language", ["en", "es", "fr", "de", "ar"])
    def test_page_style_and_pictures_of_three_strips_weigh_at_most_forty_kilobytes(
        self,
        client: Client,
        clinic: Clinic,
        tape: Application,
        token: str,
        text_of: Callable[[str], str],
        language: str,
    ) -> None:
        clinic.languages = {language: {"name": "Nur Halloran", "on": "2027-03-01"}}
        clinic.save()
        type(tape.patient).objects.update(language=language)
        for position, place in enumerate(("", "patellar_tendon", ""), start=1):
            StripFactory(plan=tape.plan, position=position, place=place)
        page, style = text_of(f"/t/{token}/"), finders.find("css/link.css")
        assert isinstance(style, str)
        pictures = [client.get(address) for address in findall(r'src="(/pictures/[^"]+)"', page)]
        assert f'<html lang="{language}"' in page
        assert len(pictures) == 5
        total = len(page.encode()) + Path(style).stat().st_size + sum(len(one.content) for one in pictures)
        assert total <= 40_000

    def test_nothing_but_the_page_its_style_and_its_pictures_is_asked_for(
        self, token: str, text_of: Callable[[str], str]
    ) -> None:
        asked = findall(r'(?:src|<link[^>]*href)="([^"]+)"', text_of(f"/t/{token}/"))
        assert {address.partition("?")[0].rpartition("/")[0] for address in asked if address != "data:,"} == {
            "/static/css",
            "/pictures/knee/left",
        }

    def test_the_sheet_can_be_printed_from_the_link_and_nothing_changes(
        self, client: Client, tape: Application, token: str
    ) -> None:
        before = state_of(tape)
        response = client.get(f"/t/{token}/paper/")
        assert (response.headers["Content-Type"], response.headers["Cache-Control"]) == (
            "application/pdf",
            "no-store, private",
        )
        assert response.content.startswith(b"%PDF")
        assert state_of(tape) == before

    def test_the_sheet_of_a_tape_that_is_off_is_its_page(self, client: Client, tape: Application, token: str) -> None:
        client.post(f"/t/{token}/off/")
        response = client.get(f"/t/{token}/paper/")
        assert (response.status_code, response.headers["Location"]) == (303, f"/t/{token}/")

    def test_the_paper_of_no_link_is_the_page_that_says_to_call(self, client: Client, clinic: Clinic) -> None:
        assert client.get("/t/nobodys-link/paper/").status_code == 404


@pytest.mark.parametrize(("day", "number"), [("16", 1), ("20", 1)])
def test_today_stands_among_the_days_when_the_tape_should_be_off(
    token: str, text_of: Callable[[str], str], frozen: time_machine.Traveller, day: str, number: int
) -> None:
    frozen.move_to(f"2027-03-{day}T14:00:00Z")
    page = text_of(f"/t/{token}/")
    assert page.count('(today)</span><span class="what late">should be off</span>') == number
    assert page.count('aria-current="date"') == 1


def test_the_number_for_when_we_are_closed_can_be_tapped(token: str, text_of: Callable[[str], str]) -> None:
    assert '<a class="dial" href="tel:2125550101"><bdi dir="ltr">(212) 555-0101</bdi></a>' in text_of(f"/t/{token}/")


def test_other_tape_is_named_by_its_place_alone(
    tape: Application, token: str, text_of: Callable[[str], str], clinic: Clinic
) -> None:
    screen = ScreenFactory(patient=tape.patient, region="shoulder", side="right")
    other = ApplicationFactory(patient=tape.patient, plan__screen=screen)
    links_keep(application=other, zone=clinic.zone)
    page = text_of(f"/t/{token}/")
    assert "You also wear tape here: right shoulder." in page
    assert link_token(other) not in page


def test_tape_that_is_off_and_other_peoples_tape_are_not_named(
    tape: Application, token: str, text_of: Callable[[str], str], now: datetime
) -> None:
    screen = ScreenFactory(patient=tape.patient, region="shoulder", side="right")
    ApplicationFactory(patient=tape.patient, plan__screen=screen, ended_at=now, ended_how="off")
    ApplicationFactory(plan__screen=ScreenFactory(region="elbow"))
    assert "You also wear tape" not in text_of(f"/t/{token}/")


def test_the_page_takes_few_queries(tape: Application, token: str, queries_of: Callable[[str], int]) -> None:
    for position in range(1, 31):
        StripFactory(plan=tape.plan, position=position)
    assert queries_of(f"/t/{token}/") <= 15
