"""The patient's page as it is seen: the days as a calendar, the signs with drawings, its order and weight."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest
import time_machine
from django.contrib.staticfiles import finders
from django.test import Client

from clinic.models import Clinic
from taping.models import Application
from taping.rules.report_signs import SIGNS


def squares(page: str) -> list[tuple[str, str]]:
    """The marked squares of the calendar: what is read of each, and its classes."""
    table = page.partition('<table class="weeks" aria-labelledby="days">')[2].partition("</table>")[0]
    found = re.findall(r'<td class="([^"]*)">(\d+)<span class="heard">: ([^<]*)</span>', table)
    return [(f"{day}: {words}", marks) for marks, day, words in found]


def test_the_days_hang_there_as_a_small_calendar(
    clinic: Clinic, token: str, text_of: Callable[[str], str], frozen: time_machine.Traveller
) -> None:
    """March 2027, on in New York on the 10th, a Wednesday; weeks there begin on Sunday."""
    frozen.move_to("2027-03-13T15:00:00Z")
    page = text_of(f"/t/{token}/")
    assert squares(page) == [
        ("10: tape went on", "went_on"),
        ("11: tape on", "worn"),
        ("12: tape on", "worn"),
        ("13: tape on (today)", "worn here"),
        ("14: may come off", "may"),
        ("15: comes off", "off"),
    ]
    heads = re.findall(r'<span class="heard">(\w+)</span></th>', page)
    assert (heads[0], heads[-1], len(heads)) == ("Sunday", "Saturday", 7)
    Clinic.objects.update(country="GB")
    assert re.findall(r'<span class="heard">(\w+)</span></th>', text_of(f"/t/{token}/"))[0] == "Monday"


def test_worn_too_long_each_day_since_has_its_square_too(
    token: str, text_of: Callable[[str], str], frozen: time_machine.Traveller
) -> None:
    frozen.move_to("2027-03-18T15:00:00Z")
    assert squares(text_of(f"/t/{token}/"))[-3:] == [
        ("16: should be off", "late"),
        ("17: should be off", "late"),
        ("18: should be off (today)", "late here"),
    ]


def test_every_sign_has_its_drawing(token: str, text_of: Callable[[str], str]) -> None:
    page = text_of(f"/t/{token}/skin/")
    boxes = re.findall(r'<label class="sign"[^>]*><input[^>]*value="(\w+)"[^>]*><svg', page)
    assert boxes == [sign.key for sign in SIGNS]


def test_the_steps_of_an_emergency_stand_before_everything_but_the_thanks(client: Client, token: str) -> None:
    client.post(f"/t/{token}/call/")
    page = client.post(f"/t/{token}/skin/", {"send": "yes", "signs": ["breathing"]}, follow=True).content.decode()
    order = [
        "Do now what stands below",
        "Call the emergency number now.",
        "Undo: I need no call",
        "You asked us to call.",
    ]
    assert sorted(order, key=page.index) == order


@pytest.mark.parametrize("ending", ["", "skin/"])
@pytest.mark.parametrize("key", ["en", "es", "fr", "de", "ar"])
def test_each_page_with_its_style_and_pictures_weighs_at_most_forty_kilobytes(
    client: Client, clinic: Clinic, tape: Application, token: str, text_of: Callable[[str], str], key: str, ending: str
) -> None:
    clinic.languages = {key: {"name": "Nur Halloran", "on": "2027-03-01"}}
    clinic.save()
    type(tape.patient).objects.update(language=key)
    page = text_of(f"/t/{token}/{ending}")
    style = finders.find("css/link.css")
    assert isinstance(style, str)
    parts = [page.encode(), Path(style).read_bytes()]
    parts += [client.get(address).content for address in sorted(set(re.findall(r'<img src="([^"]+)"', page)))]
    assert len(parts) == (2 if ending else 5)
    assert sum(len(part) for part in parts) <= 40_000
