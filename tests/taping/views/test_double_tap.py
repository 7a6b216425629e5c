"""Two taps at the same moment make one record, whatever arrives first."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.utils import timezone

from clinic.models import Clinic, User
from taping.models import Application, SkinScreen, StripPlan
from taping.rules.removal import REMOVAL_QUESTIONS
from tests.factories import ScreenFactory, StripFactory, StripPlanFactory, UserFactory
from tests.taping.screening import answers

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def plan(clinic: Clinic) -> StripPlan:
    now = timezone.now()
    made: StripPlan = StripPlanFactory(screen=ScreenFactory(answers=answers(), made_at=now))
    StripFactory(plan=made, position=1)
    return made


def at_once(user: User, address: str, *forms: dict[str, str]) -> list[Any]:
    gate = Barrier(len(forms))

    def tap(form: dict[str, str]) -> Any:
        client = Client()
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        gate.wait()
        try:
            return client.post(address, form)
        finally:
            connection.close()

    with ThreadPoolExecutor(len(forms)) as pool:
        return list(pool.map(tap, forms))


def laying(once: str) -> dict[str, str]:
    return {"removal": "home", "once": once, **{question.key: "no" for question in REMOVAL_QUESTIONS}}


def test_same_form_twice_at_once(plan: StripPlan) -> None:
    key = str(uuid4())
    responses = at_once(plan.made_by, f"/plans/{plan.pk}/on-the-skin/", laying(key), laying(key))
    tape = Application.objects.get()
    assert [response["Location"] for response in responses] == [f"/applications/{tape.pk}/"] * 2


def test_two_tablets_at_once(plan: StripPlan) -> None:
    responses = at_once(plan.made_by, f"/plans/{plan.pk}/on-the-skin/", laying(str(uuid4())), laying(str(uuid4())))
    tape = Application.objects.get()
    assert [response["Location"] for response in responses] == [f"/applications/{tape.pk}/"] * 2


def test_same_screen_twice_at_once(plan: StripPlan) -> None:
    form = {**answers(), "once": str(uuid4())}
    address = f"/patients/{plan.screen.patient_id}/screen/?region=knee&side=right"
    responses = at_once(plan.made_by, address, form, form)
    screen = SkinScreen.objects.get(side="right")
    assert [response["Location"] for response in responses] == [f"/screens/{screen.pk}/"] * 2


def test_plan_is_begun_once(clinic: Clinic) -> None:
    screen = ScreenFactory(made_at=timezone.now())
    responses = at_once(screen.asked_by, f"/screens/{screen.pk}/plan/", {}, {})
    assert [response["Location"] for response in responses] == [f"/plans/{screen.plans.get().pk}/"] * 2


@pytest.mark.parametrize("once", ["", "no key at all"])
def test_lost_one_time_key_still_records(plan: StripPlan, client: Client, once: str) -> None:
    client.force_login(UserFactory(), backend="django.contrib.auth.backends.ModelBackend")
    assert client.post(f"/plans/{plan.pk}/on-the-skin/", laying(once)).status_code == 302
    assert Application.objects.count() == 1


def test_fragments_are_never_a_page_of_their_own(
    plan: StripPlan, signed_in: Callable[..., tuple[Client, User]]
) -> None:
    # Back and reload only ever ask with GET: a bare fragment can then not stand in for the page.
    client, _ = signed_in()
    assert client.get(f"/plans/{plan.pk}/cut/", headers={"HX-Request": "true"}).status_code == 405
    # The screen's own address answers a save with a fragment, and every GET with the whole page.
    screen = f"/patients/{plan.screen.patient_id}/screen/?region=knee&side=left"
    assert "<!doctype html>" in client.get(screen, headers={"HX-Request": "true"}).content.decode()
