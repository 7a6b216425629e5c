"""Times on forms: to the minute where they are shown, and a time nobody touched stays as it is, seconds and all."""

import re
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from django.test import Client

from clinic.models import Clinic, User
from taping.models import Application
from tests.factories import ApplicationFactory, ScreenFactory, StripFactory, StripPlanFactory
from tests.taping.screening import answers

SignedIn = Callable[..., tuple[Client, User]]
# 2 April 2027 in London is summer time: 14:00:37 UTC is 15:00:37 on the wall (IANA time zone database).
WENT_ON = datetime(2027, 4, 2, 14, 0, 37, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _in_london(clinic: Clinic) -> Iterator[None]:
    clinic.time_zone = "Europe/London"
    clinic.save()
    with time_machine.travel(WENT_ON + timedelta(hours=1), tick=False):
        yield


@pytest.fixture
def therapist(signed_in: SignedIn) -> Client:
    return signed_in()[0]


@pytest.fixture
def tape() -> Application:
    plan = StripPlanFactory(screen=ScreenFactory(answers=answers(), made_at=WENT_ON - timedelta(minutes=30)))
    StripFactory(plan=plan, position=1)
    made: Application = ApplicationFactory(plan=plan, patient=plan.screen.patient, applied_at=WENT_ON)
    return made


def shown(page: str, name: str) -> str:
    """The value that the page gives to an input, as it stands in its text."""
    tag = re.search(rf'<input[^>]*name="{name}"[^>]*>', page)
    assert tag is not None
    value = re.search(r'value="([^"]*)"', tag[0])
    return value[1] if value else ""


def correct(client: Client, tape: Application, time: str, **more: str) -> int:
    """Sent as the page shows it, with another time."""
    page = client.get(f"/applications/{tape.pk}/correct/").content.decode()
    names = ("version", "posture", "span_1", "paper_1")
    form = {name: shown(page, name) for name in names} | {"side": tape.side, "why": "typing slip", "time": time, **more}
    return client.post(f"/applications/{tape.pk}/correct/", form).status_code


def test_time_on_record_is_shown_to_the_minute(therapist: Client, tape: Application) -> None:
    assert shown(therapist.get(f"/applications/{tape.pk}/correct/").content.decode(), "time") == "15:00"


@pytest.mark.parametrize("untouched", ["15:00", "15:00:00", "15:00:00.000"])
def test_untouched_time_is_no_correction(therapist: Client, tape: Application, untouched: str) -> None:
    assert correct(therapist, tape, untouched) == 302
    tape.refresh_from_db()
    assert (tape.applied_at, tape.version, tape.late_reason) == (WENT_ON, 1, "")


def test_another_field_is_corrected_and_the_seconds_stay(therapist: Client, tape: Application) -> None:
    assert correct(therapist, tape, "15:00", posture="lying") == 302
    tape.refresh_from_db()
    assert (tape.applied_at, tape.plan.posture, tape.version) == (WENT_ON, "lying", 2)


@pytest.mark.parametrize("typed", ["15:05", "15:05:00", "15:05:00.000"])
def test_corrected_time_is_that_of_the_wall(therapist: Client, tape: Application, typed: str) -> None:
    assert correct(therapist, tape, typed) == 302
    tape.refresh_from_db()
    assert tape.applied_at == datetime(2027, 4, 2, 14, 5, tzinfo=UTC)


@pytest.mark.parametrize("typed", ["2027-04-02T15:30", "2027-04-02T15:30:00", "2027-04-02T15:30:00.000"])
def test_ending_is_read_with_and_without_seconds(therapist: Client, tape: Application, typed: str) -> None:
    therapist.post(f"/applications/{tape.pk}/end/", {"how": "off", "by": "patient", "ended_at": typed})
    tape.refresh_from_db()
    assert tape.ended_at == datetime(2027, 4, 2, 14, 30, tzinfo=UTC)


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("2027-04-02T18:00:00.000", "2027-04-02T18:00"),  # still to come, and so refused
        ("2027-04-02T18:00:37", "2027-04-02T18:00"),
        ("2027-04-02T18:00", "2027-04-02T18:00"),
        ("tea time", "tea time"),
    ],
)
def test_refused_moment_comes_back_as_a_browser_takes_it(
    therapist: Client, tape: Application, typed: str, kept: str
) -> None:
    answer = therapist.post(f"/applications/{tape.pk}/end/", {"how": "off", "by": "patient", "ended_at": typed})
    assert (answer.status_code, shown(answer.content.decode(), "ended_at")) == (422, kept)


@pytest.mark.parametrize("typed", ["17:30:00.000", "17:30:37", "17:30"])
def test_refused_time_comes_back_as_a_browser_takes_it(therapist: Client, tape: Application, typed: str) -> None:
    other = StripPlanFactory(screen__made_at=WENT_ON)
    StripFactory(plan=other, position=1)
    answer = therapist.post(f"/plans/{other.pk}/on-the-skin/", {"version": "1", "time": typed})
    assert (answer.status_code, shown(answer.content.decode(), "time")) == (422, "17:30")


def test_time_of_a_draft_comes_back_as_a_browser_takes_it(therapist: Client, tape: Application) -> None:
    address = f"/patients/{tape.patient_id}/screen/?region=calf&side=left"
    therapist.post(address, {"rash": "no", "made_at": "14:20:00.000", "late_reason": "pitch side", "do": "save"})
    assert shown(therapist.get(address).content.decode(), "made_at") == "14:20"


def test_day_of_the_diary_is_written_as_a_browser_takes_it(therapist: Client) -> None:
    assert shown(therapist.get("/diary/?day=2027-04-02").content.decode(), "day") == "2027-04-02"
