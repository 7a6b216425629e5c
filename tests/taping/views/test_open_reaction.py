"""No tape goes onto a place whose skin report is open, through the pages as staff use them."""

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta

import pytest
import time_machine
from django.test import Client

from clinic.models import Clinic, User
from taping.models import Application, SkinReport
from taping.rules.removal import REMOVAL_QUESTIONS
from tests.factories import ApplicationFactory, ScreenFactory, StripFactory, StripPlanFactory

SignedIn = Callable[..., tuple[Client, User]]


@pytest.fixture(autouse=True)
def _frozen(now: datetime) -> Iterator[None]:
    with time_machine.travel(now, tick=False):
        yield


@pytest.fixture
def report(clinic: Clinic, now: datetime) -> SkinReport:
    """An open report about tape on the left knee that came off ten days ago."""
    before = ApplicationFactory(
        applied_at=now - timedelta(days=14), ended_at=now - timedelta(days=10), ended_how="skin"
    )
    made: SkinReport = SkinReport.objects.create(
        patient=before.patient, application=before, reported_at=now - timedelta(days=10), reported_by="patient"
    )
    return made


def lay(client: Client, report: SkinReport, side: str = "left") -> int:
    """The status of "it is on the skin now" for a clear screen of today."""
    screen = ScreenFactory(patient=report.patient, side=side)
    plan = StripPlanFactory(screen=screen)
    StripFactory(plan=plan, position=1)
    answers = {f"removal_{question.key}": "no" for question in REMOVAL_QUESTIONS}
    response = client.post(f"/plans/{plan.pk}/on-the-skin/", {"removal": "clinic", "version": "1", **answers})
    said = "A skin report of this place is still open." in response.content.decode()
    assert said is (response.status_code == 422)
    return response.status_code


def test_the_screen_says_so_before_anything_is_asked(signed_in: SignedIn, report: SkinReport) -> None:
    page = signed_in()[0].get(f"/patients/{report.patient_id}/screen/?region=knee&side=left").content.decode()
    assert "A skin report is open: left knee" in page


@pytest.mark.parametrize(("side", "said"), [("left", True), ("right", False)])
def test_the_plan_of_the_place_says_so_before_a_strip_is_cut(
    signed_in: SignedIn, report: SkinReport, side: str, said: bool
) -> None:
    plan = StripPlanFactory(screen=ScreenFactory(patient=report.patient, side=side))
    page = signed_in()[0].get(f"/plans/{plan.pk}/").content.decode()
    assert ("A skin report of this place is open" in page) is said
    assert (f'href="/reports/{report.pk}/"' in page) is said


def test_laying_is_refused_until_a_therapist_closed_the_report(
    signed_in: SignedIn, report: SkinReport, now: datetime
) -> None:
    client, _ = signed_in()
    assert lay(client, report) == 422
    assert Application.objects.filter(ended_at=None).count() == 0
    finding = {"kind": "no_change", "told_whom": ["nobody"]}
    client.post(f"/reports/{report.pk}/", {**finding, "do": "keep"})
    assert lay(client, report) == 422  # a finding alone does not open the place again
    client.post(f"/reports/{report.pk}/", finding)
    assert lay(client, report) == 302
    assert Application.objects.filter(ended_at=None).count() == 1


def test_another_place_is_not_held_back(signed_in: SignedIn, report: SkinReport) -> None:
    assert lay(signed_in()[0], report, side="right") == 302
