"""Recording the end of a tape in the browser."""

import re
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.utils.html import escape

from clinic.models import Clinic, User
from clinic.services.events import Actor
from taping.models import Application, PainScore, SkinReport
from taping.rules.report import SIGNS
from taping.services.applications import application_end
from tests.factories import ApplicationFactory

SignedIn = Callable[..., tuple[Client, User]]


@pytest.fixture
def tape(clinic: Clinic) -> Application:
    made: Application = ApplicationFactory()
    return made


@pytest.fixture(autouse=True)
def _three_days_later(now: datetime) -> Iterator[datetime]:
    with time_machine.travel(now + timedelta(days=3), tick=False):
        yield now


@pytest.fixture
def therapist(signed_in: SignedIn) -> Client:
    return signed_in()[0]


def end(client: Client, tape: Application, **given: Any) -> Any:
    return client.post(f"/applications/{tape.pk}/end/", {"how": "off", "by": "patient", **given})


@pytest.mark.parametrize("role", ["desk", "manager"])
def test_only_who_tapes_may_record_it(signed_in: SignedIn, tape: Application, role: str) -> None:
    client, _ = signed_in(role)
    assert client.get(f"/applications/{tape.pk}/end/").status_code == 403
    assert end(client, tape).status_code == 403


def test_nothing_is_chosen_beforehand(therapist: Client, tape: Application) -> None:
    page = therapist.get(f"/applications/{tape.pk}/end/").content.decode()
    assert "checked" not in page
    assert "<h1>The tape is off: left knee</h1>" in page


def test_signs_are_worded_for_staff(therapist: Client, tape: Application) -> None:
    page = therapist.get(f"/applications/{tape.pk}/end/").content.decode()
    assert [sign.key for sign in SIGNS if escape(sign.staff_words) not in page] == []
    assert "I have fainted" not in page
    assert "My chest hurts" not in page


def test_end_is_recorded_with_who_and_how(therapist: Client, tape: Application, now: datetime) -> None:
    response = end(therapist, tape, note="no residue")
    tape.refresh_from_db()
    assert response["Location"] == f"/applications/{tape.pk}/"
    assert (tape.ended_at, tape.ended_how, tape.ended_by, tape.ending_note) == (
        now + timedelta(days=3),
        "off",
        "patient",
        "no residue",
    )
    assert SkinReport.objects.count() == 0


@pytest.mark.parametrize("typed", ["2027-03-12T22:30", "2027-03-12T22:30:00", "2027-03-12 22:30"])
def test_time_is_the_clinics(therapist: Client, tape: Application, now: datetime, typed: str) -> None:
    end(therapist, tape, ended_at=typed)
    tape.refresh_from_db()
    assert tape.ended_at == now + timedelta(days=2, hours=12, minutes=30)


def test_signs_open_a_report_with_its_advice(therapist: Client, tape: Application) -> None:
    response = end(therapist, tape, how="skin", by="therapist", signs=["blister"], note="size of a coin")
    report = SkinReport.objects.get()
    assert (report.application, report.signs, report.words, report.reported_by, report.urgency) == (
        tape,
        ["blister"],
        "size of a coin",
        "therapist",
        "today",
    )
    words = [str(message) for message in response.wsgi_request._messages]
    assert words[1].startswith("A skin report is open.")


@pytest.mark.parametrize(
    ("given", "field", "words"),
    [
        ({"how": ""}, "how", "Say how it ended."),
        ({"by": ""}, "by", "Say who took it off."),
        ({"how": "skin"}, "signs", "tick what is seen or felt"),
        ({"went": "tore"}, "signs", "It tore the skin: tick what is seen or felt."),
        ({"skin_after": "changed"}, "signs", "A change is seen: tick what it is."),
        ({"skin_after": "no_change"}, "skin_after", "Less than 30 minutes have passed. Look again at 10:30"),
        ({"how": "came_off", "by": ""}, "ended_at", "Say when it came off; roughly is enough."),
        ({"pain": "11"}, "pain", "Select a valid choice"),
        ({"ended_at": "2027-03-13T10:01"}, "ended_at", "still to come"),
        ({"ended_at": "2027-03-10T09:59"}, "ended_at", "before the tape went on"),
        ({"ended_at": "yesterday"}, "ended_at", "Write the day and time"),
        ({"signs": ["joy"]}, "signs", "Select a valid choice"),
    ],
)
def test_bad_endings_are_refused_beside_their_field(
    therapist: Client, tape: Application, given: dict[str, Any], field: str, words: str
) -> None:
    response = end(therapist, tape, note="kept words", **given)
    form = response.context["form"]
    assert response.status_code == 422
    assert list(form.errors) == [field]
    assert words in str(form.errors[field])
    assert b"kept words" in response.content
    tape.refresh_from_db()
    assert tape.ended_at is None


def test_hour_that_clocks_skip_is_refused(signed_in: SignedIn, tape: Application, now: datetime) -> None:
    # New York puts its clocks forward from 02:00 to 03:00 on 14 March 2027 (IANA time zone database).
    with time_machine.travel(now + timedelta(days=5), tick=False):
        response = end(signed_in()[0], tape, ended_at="2027-03-14T02:30")
    assert response.status_code == 422
    assert list(response.context["form"].errors) == ["ended_at"]


def test_first_ending_stands(therapist: Client, tape: Application, now: datetime) -> None:
    off = now + timedelta(days=1)
    application_end(
        actor=Actor(user=tape.therapist), now=off, application=tape, how="came_off", ended_at=off, by="patient"
    )
    response = end(therapist, tape)
    tape.refresh_from_db()
    assert response["Location"] == f"/applications/{tape.pk}/"
    assert (tape.ended_at, tape.ended_how) == (off, "came_off")


def test_what_removal_was_like_is_recorded_with_pain_at_the_end(
    therapist: Client, tape: Application, now: datetime
) -> None:
    given = {"by": "colleague", "went": "hard", "hair": "some", "residue": "much", "pain": "3"}
    end(therapist, tape, ended_at="2027-03-12T22:30", skin_after="no_change", **given)
    tape.refresh_from_db()
    assert (tape.ended_by, tape.ending_went, tape.ending_hair, tape.ending_residue, tape.skin_after) == (
        "colleague",
        "hard",
        "some",
        "much",
        "no_change",
    )
    assert list(PainScore.objects.values_list("plan", "moment", "score")) == [(tape.plan_id, "next", 3)]
    page = therapist.get(f"/applications/{tape.pk}/").content.decode()
    for words in (
        "at the clinic, by a colleague",
        "How it went: with effort",
        "Some hair came off",
        "Much glue stayed",
    ):
        assert words in page
    assert "Skin 30 minutes after: no change seen" in page


def test_nothing_but_how_and_by_whom_is_needed(therapist: Client, tape: Application) -> None:
    assert end(therapist, tape).status_code == 302
    assert PainScore.objects.count() == 0


def test_pain_is_asked_once(therapist: Client, tape: Application, now: datetime) -> None:
    assert 'name="pain"' in therapist.get(f"/applications/{tape.pk}/end/").content.decode()
    PainScore.objects.create(plan=tape.plan, moment="next", score=2, said_at=now)
    assert 'name="pain"' not in therapist.get(f"/applications/{tape.pk}/end/").content.decode()
    assert end(therapist, tape, pain="9").status_code == 302
    assert list(PainScore.objects.values_list("score", flat=True)) == [2]


def test_it_came_off_by_itself_and_the_time_is_roughly_known(therapist: Client, tape: Application) -> None:
    end(therapist, tape, how="came_off", by="", ended_at="2027-03-12T22:30", roughly="on")
    tape.refresh_from_db()
    assert (tape.ended_how, tape.ended_by, tape.ended_roughly) == ("came_off", "", True)
    page = therapist.get(f"/applications/{tape.pk}/").content.decode()
    assert "Off since about yesterday 22:30</strong>: came off early; recorded by" in page


def test_the_page_says_when_to_look_again_until_somebody_answered(
    therapist: Client, tape: Application, now: datetime
) -> None:
    response = end(therapist, tape)
    assert [str(message) for message in response.wsgi_request._messages] == [
        "The end of the tape is recorded. Look at the skin again at 10:30."
    ]
    page = therapist.get(f"/applications/{tape.pk}/").content.decode()
    assert "Look at the skin again today 10:30." in page
    assert re.findall(r'name="seen" value="(\w+)"', page) == ["not_looked"]
    with time_machine.travel(now + timedelta(days=3, minutes=30), tick=False):
        page = therapist.get(f"/applications/{tape.pk}/").content.decode()
        assert re.findall(r'name="seen" value="(\w+)"', page) == ["no_change", "changed", "not_looked"]
        answer = therapist.post(f"/applications/{tape.pk}/skin-after/", {"seen": "no_change"})
        page = therapist.get(f"/applications/{tape.pk}/").content.decode()
    assert answer["Location"] == f"/applications/{tape.pk}/"
    assert 'name="seen"' not in page
    assert "Skin 30 minutes after: no change seen" in page


def test_a_change_that_is_seen_leads_into_a_report(therapist: Client, tape: Application, now: datetime) -> None:
    end(therapist, tape)
    with time_machine.travel(now + timedelta(days=3, minutes=30), tick=False):
        answer = therapist.post(f"/applications/{tape.pk}/skin-after/", {"seen": "changed"})
    assert answer["Location"] == f"/applications/{tape.pk}/skin/"


def test_too_early_a_look_is_refused_in_words(therapist: Client, tape: Application) -> None:
    end(therapist, tape)
    answer = therapist.post(f"/applications/{tape.pk}/skin-after/", {"seen": "no_change"}, follow=True)
    assert "Less than 30 minutes have passed. Look again at 10:30" in answer.content.decode()
    tape.refresh_from_db()
    assert tape.skin_after == ""


def test_signs_lead_to_the_report_and_the_therapists_grade(therapist: Client, tape: Application) -> None:
    response = end(therapist, tape, how="skin", by="therapist", signs=["blister"])
    report = SkinReport.objects.get()
    assert response["Location"] == f"/reports/{report.pk}/"
    assert (report.kind, report.grade, report.graded_by, report.closed_at) == ("", "", None, None)
