"""The settings page, as the manager uses it."""

import re
from collections.abc import Callable
from datetime import date, time
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from clinic.models import Clinic, Closure, Event, User
from clinic.selectors import clinic_get, hours_of
from clinic.services.clinic import clinic_change, hours_change
from clinic.services.events import Actor
from clinic.views.session import PROVED
from tests.clinic.forms.test_settings import GOOD
from tests.factories.clinic import NOW, UserFactory

SignedIn = Callable[..., tuple[Client, User]]
WEEK = {f"day{weekday}": "08:00-18:00" for weekday in range(5)}


@pytest.fixture
def manager(signed_in: SignedIn) -> Client:
    return signed_in("manager")[0]


def save(client: Client, **changed: Any) -> Any:
    return client.post(reverse("settings"), {**GOOD, **changed})


def seen(answer: Any) -> str:
    """What the button under the changes sends along, as the page that shows them has it."""
    found: list[str] = re.findall(r'name="confirm" value="([^"]+)"', answer.content.decode())
    assert len(found) == 1
    return found[0]


def save_seen(client: Client, **changed: Any) -> Any:
    """Both posts: look, then save just that."""
    return save(client, **changed, confirm=seen(save(client, **changed)))


def test_what_a_change_does_is_shown_before_it_is_saved(manager: Client, clinic: Clinic) -> None:
    answer = save(manager, quiet_from="20:00")
    page = answer.content.decode()
    assert (answer.status_code, clinic_get().quiet_from) == (200, clinic.quiet_from)
    assert "21:00 → 20:00" in page
    assert "move out of them" in page
    assert seen(answer)
    assert "than was shown to you" not in page


def test_after_looking_it_is_saved(manager: Client, clinic: Clinic) -> None:
    assert save_seen(manager, quiet_from="20:00").status_code == 302
    assert (clinic_get().quiet_from, clinic_get().plan_version) == (time(20), clinic.plan_version + 1)


def test_another_number_corrected_after_looking_is_shown_before_it_is_saved(manager: Client, clinic: Clinic) -> None:
    looked = seen(save(manager, quiet_from="20:00"))
    answer = save(manager, quiet_from="20:00", skin_rest_hours="48", confirm=looked)
    page = answer.content.decode()
    assert (answer.status_code, clinic_get().quiet_from, clinic_get().skin_rest_hours) == (200, time(21), 24)
    assert ("21:00 → 20:00" in page, "24 → 48" in page, 'value="48"' in page) == (True, True, True)
    assert "Something else would change than was shown to you" in page
    assert save(manager, quiet_from="20:00", skin_rest_hours="48", confirm=seen(answer)).status_code == 302
    assert (clinic_get().quiet_from, clinic_get().skin_rest_hours) == (time(20), 48)


@pytest.mark.parametrize("theirs", [{"skin_rest_hours": 48}, {"quiet_from": time(22)}], ids="-".join)
def test_what_somebody_else_saved_since_is_not_undone_unseen(
    manager: Client, clinic: Clinic, theirs: dict[str, Any]
) -> None:
    looked = seen(save(manager, quiet_from="20:00"))
    clinic_change(actor=Actor(word="test"), now=NOW, values=theirs)
    answer = save(manager, quiet_from="20:00", confirm=looked)
    assert (answer.status_code, {name: getattr(clinic_get(), name) for name in theirs}) == (200, theirs)
    shown = "48 → 24" if "skin_rest_hours" in theirs else "22:00 → 20:00"
    assert (shown in answer.content.decode(), "than was shown to you" in answer.content.decode()) == (True, True)
    assert save(manager, quiet_from="20:00", confirm=seen(answer)).status_code == 302


def version_on(answer: Any) -> str:
    return str(re.findall(r'name="version" value="([^"]+)"', answer.content.decode())[0])


def test_who_opened_the_form_before_somebody_else_saved_sees_both_versions(manager: Client, clinic: Clinic) -> None:
    opened = version_on(manager.get(reverse("settings")))
    clinic_change(actor=Actor(user=UserFactory(full_name="Mira Holm")), now=NOW, values={"skin_rest_hours": 48})
    answer = save(manager, quiet_from="20:00", version=opened)
    page = answer.content.decode()
    assert (answer.status_code, clinic_get().quiet_from, clinic_get().skin_rest_hours) == (409, time(21), 48)
    assert "<bdi>Mira Holm</bdi> saved" in page
    assert '<td dir="auto" data-name="Stored now">48</td><td dir="auto" data-name="You typed">24</td>' in page
    assert ('value="48"' in page, 'value="20:00"' in page) == (True, True), "theirs where they changed it, else mine"
    again = save(manager, quiet_from="20:00", skin_rest_hours="48", version=version_on(answer))
    save(manager, quiet_from="20:00", skin_rest_hours="48", version=version_on(again), confirm=seen(again))
    assert (clinic_get().quiet_from, clinic_get().skin_rest_hours) == (time(20), 48)


def test_own_saving_is_nobody_elses(manager: Client, clinic: Clinic) -> None:
    save_seen(manager, quiet_from="20:00")
    page = manager.get(reverse("settings"))
    answer = save(manager, quiet_from="20:00", skin_rest_hours="48", version=version_on(page))
    assert (answer.status_code, "24 → 48" in answer.content.decode()) == (200, True)


def seal_on(answer: Any) -> str:
    return str(re.findall(r'name="seal" value="([^"]+)"', answer.content.decode())[0])


def test_hours_that_somebody_else_saved_meanwhile_are_not_overwritten_unseen(manager: Client, clinic: Clinic) -> None:
    opened = seal_on(manager.get(reverse("settings")))
    hours_change(actor=Actor(word="test"), now=NOW, hours={0: [(time(7), time(9))]})
    answer = manager.post(reverse("settings_hours"), {**WEEK, "seal": opened})
    page = answer.content.decode()
    assert (answer.status_code, hours_of(None)) == (409, {0: [(time(7), time(9))]})
    stored, wrote = '<td data-name="Stored now">07:00-09:00</td>', '<td data-name="You wrote">08:00-18:00</td>'
    assert f'<th scope="row">Monday</th>{stored}{wrote}' in page
    assert 'name="day0" value="08:00-18:00"' in page
    assert manager.post(reverse("settings_hours"), {**WEEK, "seal": seal_on(answer)}).status_code == 302
    assert hours_of(None) == {day: [(time(8), time(18))] for day in range(5)}


@pytest.mark.parametrize("sent", ["1", "", "é", "0" * 64])
def test_what_no_page_sent_along_saves_nothing(manager: Client, clinic: Clinic, sent: str) -> None:
    answer = save(manager, quiet_from="20:00", confirm=sent)
    assert (answer.status_code, clinic_get().quiet_from) == (200, time(21))


def test_a_number_past_its_limit_saves_nothing(manager: Client, clinic: Clinic) -> None:
    answer = save(manager, wear_last_day="9", confirm=seen(save(manager, wear_first_day="3")))
    assert (answer.status_code, clinic_get().wear_last_day) == (422, 5)
    assert 'value="9"' in answer.content.decode()


def test_hours_are_saved_and_shown_again(manager: Client, clinic: Clinic) -> None:
    manager.post(reverse("settings_hours"), {**WEEK, "day5": "09:00-12:00"})
    assert hours_of(None)[5] == [(time(9), time(12))]
    assert 'value="09:00-12:00"' in manager.get(reverse("settings")).content.decode()


def test_wrong_hours_change_nothing_and_stay_typed(manager: Client, clinic: Clinic) -> None:
    answer = manager.post(reverse("settings_hours"), {**WEEK, "day0": "from nine"})
    assert (answer.status_code, len(hours_of(None))) == (422, 5)
    assert 'value="from nine"' in answer.content.decode()


def test_a_day_is_closed_and_opened_again(manager: Client, clinic: Clinic) -> None:
    with time_machine.travel(NOW, tick=False):
        manager.force_login(User.objects.get(), backend="django.contrib.auth.backends.ModelBackend")
        manager.post(reverse("settings_closures"), {"day": "2027-03-29", "reason": "Holiday"})
        closure = Closure.objects.get()
        assert closure.day == date(2027, 3, 29)
        assert "Holiday" in manager.get(reverse("settings")).content.decode()
        manager.post(reverse("settings_closure_open", args=[closure.pk]))
    assert Closure.objects.count() == 0


def test_a_day_that_is_past_is_refused(manager: Client, clinic: Clinic) -> None:
    answer = manager.post(reverse("settings_closures"), {"day": "2020-01-01"})
    assert (answer.status_code, Closure.objects.count()) == (422, 0)


def test_the_page_says_where_its_numbers_come_from_and_where_links_lead(manager: Client, settings: Any) -> None:
    settings.PUBLIC_ADDRESS = "https://tape.example.org"
    page = manager.get(reverse("settings")).content.decode()
    assert "Where these numbers and their limits come from" in page
    assert "common practice, no source" in page
    assert "https://tape.example.org" in page


def test_a_part_of_the_country_brings_its_holidays(manager: Client, clinic: Clinic) -> None:
    with time_machine.travel(NOW, tick=False):
        manager.force_login(User.objects.get(), backend="django.contrib.auth.backends.ModelBackend")
        assert save_seen(manager, country="GB").status_code == 302
        assert "Easter Monday" not in manager.get(reverse("settings")).content.decode()
        shown = save(manager, country="GB", region="ENG")
        assert "<strong>Part of the country</strong>: the whole country → England" in shown.content.decode()
        assert save(manager, country="GB", region="ENG", confirm=seen(shown)).status_code == 302
        page = manager.get(reverse("settings")).content.decode()
        assert ("Easter Monday" in page, '<option value="ENG" selected>England' in page) == (True, True)
        manager.post(reverse("settings_holidays"), {"day": ["2027-03-29"]})
        assert Closure.objects.get().reason == "Easter Monday"
        refused = save(manager, country="US", region="ENG")
    assert (refused.status_code, clinic_get().country, clinic_get().region) == (422, "GB", "ENG")
    assert "Choose a part of this country" in refused.content.decode()
    assert Event.objects.filter(verb="clinic.changed").latest("pk").fields == ["region"]


def test_codes_for_everybody_begin_tomorrow_at_the_earliest(manager: Client, clinic: Clinic) -> None:
    with time_machine.travel(NOW, tick=False):
        manager.force_login(User.objects.get(), backend="django.contrib.auth.backends.ModelBackend")
        refused = save(manager, codes_from="2027-03-10")
        assert (refused.status_code, "Choose tomorrow or a later day" in refused.content.decode()) == (422, True)
        shown = save(manager, codes_from="2027-03-11")
        assert "nothing → Thu 11 Mar 2027" in shown.content.decode()
        assert "sets one up before any other page opens" in shown.content.decode()
        assert save(manager, codes_from="2027-03-11", confirm=seen(shown)).status_code == 302
    assert clinic_get().codes_from == date(2027, 3, 11)


def test_the_day_from_which_codes_are_asked_stays_when_other_settings_are_saved_later(
    manager: Client, clinic: Clinic
) -> None:
    Clinic.objects.update(codes_from=date(2020, 1, 1))
    session = manager.session
    session[PROVED] = True
    session.save()
    assert save_seen(manager, codes_from="2020-01-01", quiet_from="20:00").status_code == 302
    assert (clinic_get().codes_from, clinic_get().quiet_from) == (date(2020, 1, 1), time(20))
    assert "→ nothing" in save(manager, quiet_from="20:00", codes_from="").content.decode()


def test_periods_saved_meanwhile_are_no_conflict_with_this_form(manager: Client, clinic: Clinic) -> None:
    opened = version_on(manager.get(reverse("settings")))
    clinic_change(actor=Actor(word="test"), now=NOW, values={"keep_records_years": 10})
    answer = save(manager, quiet_from="20:00", version=opened)
    assert (answer.status_code, "21:00 → 20:00" in answer.content.decode()) == (200, True)
