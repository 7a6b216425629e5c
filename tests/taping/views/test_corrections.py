"""A record is corrected from its page: what it said before stays, and a lost update is noticed."""

from collections.abc import Callable, Iterator
from datetime import date, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client

from clinic.models import Clinic, Event, User
from taping.models import Application, Correction
from tests.factories import ApplicationFactory, ScreenFactory, StripFactory, StripPlanFactory
from tests.taping.screening import answers

SignedIn = Callable[..., tuple[Client, User]]


@pytest.fixture(autouse=True)
def _at_eleven(now: datetime) -> Iterator[None]:
    """11:02 in New York; the tape went on at 10:04."""
    with time_machine.travel(now + timedelta(minutes=62), tick=False):
        yield


@pytest.fixture
def therapist(signed_in: SignedIn) -> Client:
    return signed_in()[0]


@pytest.fixture
def tape(db: None, now: datetime) -> Application:
    screen = ScreenFactory(answers=answers(), made_at=now)
    plan = StripPlanFactory(screen=screen, posture="sitting")
    StripFactory(plan=plan, position=1)
    made: Application = ApplicationFactory(plan=plan, patient=screen.patient, applied_at=now + timedelta(minutes=4))
    return made


def correct(client: Client, tape: Application, **given: str) -> Any:
    """The form as the page shows it, with given typed over it."""
    address = f"/applications/{tape.pk}/correct/"
    form = client.get(address).context["form"]
    shown = {name: form[name].value() for name in form.fields}
    shown["time"] = shown["time"].strftime("%H:%M") if shown["time"] else ""
    data = {name: "" if value is None else value for name, value in shown.items()}
    return client.post(address, {**data, "why": "typing slip", **given})


def lines(client: Client, tape: Application) -> list[str]:
    page = client.get(f"/applications/{tape.pk}/correct/").content.decode()
    found = page.split('<p class="correction">')[1:]
    plain = [row.partition("</p>")[0] for row in found]
    return [
        row.replace("<bdi>", "").replace("</bdi>", "").replace("<strong>", "").replace("</strong>", "") for row in plain
    ]


@pytest.mark.parametrize(("role", "status"), [("desk", 403), ("manager", 403), ("student", 200), ("therapist", 200)])
def test_who_may_correct(signed_in: SignedIn, tape: Application, role: str, status: int) -> None:
    client, _ = signed_in(role)
    assert client.get(f"/applications/{tape.pk}/correct/").status_code == status
    assert (client.post(f"/applications/{tape.pk}/correct/", {}).status_code == 403) is (status == 403)


def test_stranger_is_sent_to_log_in_and_no_tape_is_not_found(client: Client, therapist: Client, clinic: Clinic) -> None:
    answer: Any = Client().get("/applications/1/correct/")
    assert answer["Location"].startswith("/log-in/")
    assert therapist.get("/applications/999/correct/").status_code == 404


def test_corrected_time_shows_old_and_new_with_who_when_and_why(
    therapist: Client, tape: Application, now: datetime
) -> None:
    response = correct(therapist, tape, time="10:40")
    assert response["Location"] == f"/applications/{tape.pk}/"
    raised = tape.plan_version
    tape.refresh_from_db()
    who = User.objects.get(events__verb="application.changed").full_name
    assert tape.applied_at == now + timedelta(minutes=40)
    assert tape.plan_version > raised
    assert lines(therapist, tape) == [f"Corrected today 11:02 by {who}: put on at 10:40, was 10:04 (typing slip)"]
    assert Event.objects.get(verb="application.changed").fields == ["applied_at"]


@pytest.mark.parametrize(
    ("given", "field", "words"),
    [
        ({"time": "11:03"}, "time", "still to come"),
        ({"time": "09:59"}, "time", "The screen was made after the tape went on."),
        ({"time": "noon"}, "time", "Write the time like 14:05."),
        ({"time": "10:40", "why": " "}, "why", "Say why the record is corrected."),
        ({"span_1": "0"}, "span_1", "is no length at all"),
        ({"span_1": "8"}, "span_1", "leave nothing to stretch of a span of 8.0 cm"),
        ({"paper_1": "40"}, "span_1", "Cut at most 33.0 cm for this span."),
        ({"side": "midline"}, "side", "Select a valid choice"),
        ({"last_day": "5"}, "last_day", "Select a valid choice"),
    ],
)
def test_what_cannot_be_is_refused_beside_its_field_and_changes_nothing(
    therapist: Client, tape: Application, given: dict[str, str], field: str, words: str
) -> None:
    response = correct(therapist, tape, posture="lying", **given)
    form = response.context["form"]
    assert response.status_code == 422
    assert [field] == list(form.errors)
    assert words in str(form.errors[field])
    assert form["posture"].value() == "lying"
    assert Correction.objects.count() == 0
    tape.plan.refresh_from_db()
    assert tape.plan.posture == "sitting"


def test_nothing_typed_otherwise_changes_nothing(therapist: Client, tape: Application) -> None:
    page = correct(therapist, tape)
    assert page.status_code == 302
    tape.refresh_from_db()
    assert (tape.version, Correction.objects.count()) == (1, 0)
    assert not Event.objects.filter(verb="application.changed").exists()


def test_posture_and_strip_are_corrected(therapist: Client, tape: Application) -> None:
    correct(therapist, tape, posture="knee bent", span_1="31", paper_1="29")
    strip = tape.plan.strips.get()
    # 290 / 1.1 - 100 = 163.6 relaxed, over 210: 28.3 % of stretch, of the 40 % that the tape gives
    assert (strip.span_mm, strip.paper_mm) == (310, 290)
    assert strip.share == pytest.approx((210 / (290 / 1.1 - 100) - 1) / 0.4)
    assert [(row.what, row.was, row.became) for row in Correction.objects.order_by("id")] == [
        ("posture", "sitting", "knee bent"),
        ("strip 1", "span 30.0 cm, cut 28.6 cm", "span 31.0 cm, cut 29.0 cm"),
    ]
    assert Event.objects.get(verb="application.changed").fields == ["posture", "strip 1"]


def test_wrong_side_is_mended_with_its_screen(therapist: Client, tape: Application) -> None:
    correct(therapist, tape, side="right")
    tape.refresh_from_db()
    assert (tape.side, tape.plan.screen.side) == ("right", "right")
    row = Correction.objects.get()
    assert (row.what, row.was, row.became) == ("place", "left knee", "right knee")


def test_side_is_not_mended_onto_other_tape(therapist: Client, tape: Application) -> None:
    ApplicationFactory(patient=tape.patient, side="right", plan__screen__side="right")
    response = correct(therapist, tape, side="right")
    assert list(response.context["form"].errors) == ["side"]
    tape.refresh_from_db()
    assert (tape.side, tape.plan.screen.side) == ("left", "left")


def test_side_is_mended_on_the_day_only(signed_in: SignedIn, tape: Application, now: datetime) -> None:
    with time_machine.travel(now + timedelta(days=1), tick=False):
        response = correct(signed_in()[0], tape, side="right")
    assert "on the day of the taping only" in str(response.context["form"].errors["side"])


def test_screen_of_two_tapes_keeps_its_side(therapist: Client, tape: Application) -> None:
    second = StripPlanFactory(screen=tape.plan.screen)
    ApplicationFactory(plan=second, patient=tape.patient, ended_at=tape.applied_at, ended_how="off")
    response = correct(therapist, tape, side="right")
    assert "The same screen allowed another tape" in str(response.context["form"].errors["side"])


def test_last_day_is_only_ever_brought_forward(therapist: Client, tape: Application) -> None:
    form = therapist.get(f"/applications/{tape.pk}/correct/").context["form"]
    assert [key for key, _ in form.fields["last_day"].choices] == ["", 1, 2, 3, 4]
    correct(therapist, tape, last_day="2", why="thin skin")
    tape.refresh_from_db()
    assert (tape.closes_on, tape.removal_day, tape.shortened_why) == (date(2027, 3, 12), date(2027, 3, 12), "thin skin")
    assert Correction.objects.get().became == "Fri 12 Mar 2027"


def test_tape_that_is_off_keeps_its_days(therapist: Client, tape: Application, now: datetime) -> None:
    Application.objects.filter(pk=tape.pk).update(ended_at=now + timedelta(minutes=30), ended_how="off")
    form = therapist.get(f"/applications/{tape.pk}/correct/").context["form"]
    assert "last_day" not in form.fields
    response = correct(therapist, tape, time="10:40")
    assert "after the tape came off" in response.content.decode()
    assert correct(therapist, tape, time="10:20").status_code == 302


def test_lost_update_is_noticed_and_both_versions_are_shown(therapist: Client, tape: Application) -> None:
    stale = {"time": "10:04", "side": "left", "span_1": "30.0 cm", "paper_1": "28.6 cm", "why": "mine", "version": "1"}
    correct(therapist, tape, posture="knee bent")
    response = therapist.post(f"/applications/{tape.pk}/correct/", {**stale, "posture": "lying"})
    page = response.content.decode()
    assert response.status_code == 422
    assert "corrected this record at 11:02" in page
    assert [(row.stored, row.typed) for row in response.context["differing"]] == [("knee bent", "lying")]
    assert 'name="version" value="2"' in page
    tape.plan.refresh_from_db()
    assert tape.plan.posture == "knee bent"


def test_two_taps_correct_once(therapist: Client, tape: Application) -> None:
    key = {"once": "5f2b7a0e-8a55-4c5c-9d2e-0a3d6f1c7b11", "version": "1", "why": "slip", "time": "10:40"}
    form = {**key, "side": "left", "posture": "sitting", "span_1": "30.0 cm", "paper_1": "28.6 cm"}
    first: Any = therapist.post(f"/applications/{tape.pk}/correct/", form)
    second: Any = therapist.post(f"/applications/{tape.pk}/correct/", form)
    assert first["Location"] == second["Location"]
    assert Correction.objects.count() == 1


def test_desk_sees_no_corrections(signed_in: SignedIn, therapist: Client, tape: Application) -> None:
    correct(therapist, tape, posture="very <b>private</b> words")
    assert "very &lt;b&gt;private" in therapist.get(f"/applications/{tape.pk}/correct/").content.decode()
    assert "This record was corrected" in therapist.get(f"/applications/{tape.pk}/").content.decode()
    page = signed_in("desk")[0].get(f"/applications/{tape.pk}/").content.decode()
    assert "private" not in page
    assert "orrect the record" not in page
    assert "was corrected" not in page


def test_page_asks_the_database_little(
    therapist: Client, tape: Application, django_assert_max_num_queries: Any
) -> None:
    for number in range(30):
        Correction.objects.create(application=tape, at=tape.applied_at, what="posture", became=str(number))
    with django_assert_max_num_queries(15):
        therapist.get(f"/applications/{tape.pk}/correct/")
