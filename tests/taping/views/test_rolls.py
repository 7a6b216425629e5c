"""The rolls: entered, measured by three readings, put away; only in the hands of therapists and managers."""

from collections.abc import Callable, Iterator
from datetime import datetime
from typing import Any

import pytest
import time_machine
from django.test import Client

from clinic.models import Clinic, Event, User
from taping.models import TapeRoll
from tests.factories import StripPlanFactory

SignedIn = Callable[..., tuple[Client, User]]
ROLL = {"name": "Skin-colour", "colour": "beige", "lot": "B-9", "width": "5", "square": "5"}


@pytest.fixture(autouse=True)
def _at_ten(now: datetime) -> Iterator[None]:
    with time_machine.travel(now, tick=False):
        yield


@pytest.fixture
def manager(signed_in: SignedIn) -> Client:
    return signed_in("manager")[0]


@pytest.fixture
def roll(db: None) -> TapeRoll:
    return TapeRoll.objects.create(name="Blue", lot="7")


@pytest.mark.parametrize(("role", "status"), [("desk", 403), ("student", 403), ("therapist", 200), ("manager", 200)])
def test_who_keeps_the_rolls(signed_in: SignedIn, roll: TapeRoll, role: str, status: int) -> None:
    client, _ = signed_in(role)
    assert client.get("/rolls/").status_code == status
    assert client.get(f"/rolls/{roll.pk}/").status_code == status
    used = client.post(f"/rolls/{roll.pk}/use/", {"away": "1"})
    assert used.status_code == (302 if status == 200 else 403)
    roll.refresh_from_db()
    assert roll.in_use is (status == 403)


def test_stranger_is_sent_to_log_in(client: Client, clinic: Clinic, roll: TapeRoll) -> None:
    for address in ("/rolls/", f"/rolls/{roll.pk}/", f"/rolls/{roll.pk}/use/"):
        answer: Any = client.post(address)
        assert answer["Location"].startswith("/log-in/")


def test_settings_lead_here(manager: Client) -> None:
    assert 'href="/rolls/"' in manager.get("/settings/").content.decode()


def test_without_rolls_it_says_why_and_what_next(manager: Client) -> None:
    assert "every cut is reckoned with rough numbers. Enter the roll" in manager.get("/rolls/").content.decode()


def test_roll_is_entered_once_and_leads_to_measuring(manager: Client) -> None:
    form = {**ROLL, "once": "5f2b7a0e-8a55-4c5c-9d2e-0a3d6f1c7b11"}
    first: Any = manager.post("/rolls/", form)
    second: Any = manager.post("/rolls/", form)
    roll = TapeRoll.objects.get()
    assert first["Location"] == second["Location"] == f"/rolls/{roll.pk}/"
    assert (str(roll), roll.width_mm, roll.square_mm, roll.measured_at) == ("Skin-colour beige, lot B-9", 50, 50, None)
    assert [event.verb for event in Event.objects.all()] == ["roll.added"]


@pytest.mark.parametrize(
    ("given", "field", "words"),
    [
        ({"name": " "}, "name", "Give the tape a name."),
        ({"width": "wide"}, "width", "is not a length"),
        ({"square": ""}, "square", "Give a length."),
    ],
)
def test_roll_that_cannot_be_entered(manager: Client, given: dict[str, str], field: str, words: str) -> None:
    response = manager.post("/rolls/", {**ROLL, **given})
    form = response.context["form"]
    assert (response.status_code, list(form.errors)) == (422, [field])
    assert words in str(form.errors[field])
    assert form["colour"].value() == "beige"


def test_same_roll_twice_is_refused(manager: Client) -> None:
    manager.post("/rolls/", ROLL)
    response = manager.post("/rolls/", ROLL)
    assert list(response.context["form"].errors) == ["lot"]
    assert TapeRoll.objects.count() == 1


def test_three_readings_make_its_numbers_its_own(manager: Client, roll: TapeRoll, now: datetime) -> None:
    response = manager.post(f"/rolls/{roll.pk}/", {"paper": "20", "relaxed": "18.5", "full": "26.4"}, follow=True)
    roll.refresh_from_db()
    # 200 / 185 - 1 and 264 / 185 - 1
    assert (round(roll.pre_stretch, 4), round(roll.limit, 4)) == (0.0811, 0.4270)
    assert (roll.paper_mm, roll.relaxed_mm, roll.full_mm, roll.measured_at) == (200, 185, 264, now)
    page = response.content.decode()
    assert "8 % longer on its backing than relaxed; gives 43 % at the most." in page
    assert "not measured" not in page
    event = Event.objects.get(verb="roll.measured")
    assert "pre_stretch" in event.fields


@pytest.mark.parametrize(
    ("readings", "field", "words"),
    [
        (
            ("20", "21", "30"),
            "relaxed",
            "21.0 cm relaxed is longer than 20.0 cm on the backing. Peeled tape never grows",
        ),
        (("20", "18", "18"), "full", "18.0 cm fully stretched is not longer than 20.0 cm before."),
        (("20", "", "30"), "relaxed", "Measure, and write it here."),
        (("20", "0", "30"), "relaxed", "is no length at all"),
        (("4 m", "18", "30"), "paper", "is in no unit known here"),
    ],
)
def test_impossible_readings_are_refused_beside_their_field_and_nothing_is_lost(
    manager: Client, roll: TapeRoll, readings: tuple[str, str, str], field: str, words: str
) -> None:
    typed = dict(zip(("paper", "relaxed", "full"), readings, strict=True))
    response = manager.post(f"/rolls/{roll.pk}/", typed)
    page = response.content.decode()
    assert response.status_code == 422
    assert words in page.partition(f'<div id="id_{field}_error">')[2].partition("</div>")[0]
    assert all(f'value="{text}"' in page for text in readings if text)
    roll.refresh_from_db()
    assert roll.measured_at is None


def test_inch_clinic_measures_in_inches(manager: Client, roll: TapeRoll, clinic: Clinic) -> None:
    clinic.units = Clinic.Units.INCHES
    clinic.save()
    manager.post(f"/rolls/{roll.pk}/", {"paper": "8", "relaxed": "7 3/8", "full": "10 1/2"})
    roll.refresh_from_db()
    assert (round(roll.paper_mm or 0, 4), round(roll.pre_stretch, 4)) == (203.2, 0.0847)
    refused = manager.post(f"/rolls/{roll.pk}/", {"paper": "8", "relaxed": "8 1/4", "full": "10"})
    assert "8 1/4 in relaxed is longer than 8 in on the backing." in refused.content.decode()


def test_unusual_readings_are_told_and_kept(manager: Client, roll: TapeRoll) -> None:
    page = manager.post(f"/rolls/{roll.pk}/", {"paper": "25", "relaxed": "20", "full": "30"}, follow=True)
    assert "25 % longer on its backing is unusual" in page.content.decode()
    roll.refresh_from_db()
    assert roll.pre_stretch == 0.25


def test_picture_says_what_to_measure(manager: Client, roll: TapeRoll) -> None:
    page = manager.get(f"/rolls/{roll.pk}/").content.decode()
    assert "One piece of tape, measured three times" in page
    assert 'role="img"' in page


def test_roll_put_away_is_no_longer_chosen_and_can_come_back(signed_in: SignedIn, roll: TapeRoll) -> None:
    client, _ = signed_in()
    plan = StripPlanFactory()

    def chosen() -> list[str]:
        form = client.get(f"/plans/{plan.pk}/").context["strip_form"]
        return [key for key, _ in form.fields["roll"].choices if key]

    assert chosen() == [str(roll.pk)]
    client.post(f"/rolls/{roll.pk}/use/", {"away": "1"})
    client.post(f"/rolls/{roll.pk}/use/", {"away": "1"})
    assert chosen() == []
    client.post(f"/rolls/{roll.pk}/use/")
    assert chosen() == [str(roll.pk)]
    assert [event.verb for event in Event.objects.filter(verb__startswith="roll.").order_by("id")] == [
        "roll.put_away",
        "roll.returned",
    ]


@pytest.mark.parametrize("many", [1, 30])
def test_list_asks_the_same_few_questions_however_long(
    manager: Client, many: int, django_assert_max_num_queries: Any
) -> None:
    by = User.objects.get()
    TapeRoll.objects.bulk_create([TapeRoll(name=f"Roll {n}", measured_by=by) for n in range(many)])
    with django_assert_max_num_queries(6):
        assert len(manager.get("/rolls/").context["in_use"]) == many


def test_names_are_never_markup(manager: Client, roll: TapeRoll) -> None:
    TapeRoll.objects.filter(pk=roll.pk).update(name="<b>Blue</b>")
    assert "<b>Blue" not in manager.get("/rolls/").content.decode()
    assert "<b>Blue" not in manager.get(f"/rolls/{roll.pk}/").content.decode()
