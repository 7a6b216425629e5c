"""The patient page, for those who tape and for the desk."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client

from clinic.models import Clinic, Event, User
from taping.models import Application, SkinReport
from tests.factories import (
    ApplicationFactory,
    CallItemFactory,
    HelperFactory,
    MessageFactory,
    PatientFactory,
    ScreenFactory,
    StripFactory,
    StripPlanFactory,
    VisitFactory,
)
from tests.factories.clinic import NOW

SignedIn = Callable[..., tuple[Client, User]]
Text = Callable[[str], str]
REASON = {"text": "Is the skin thin?", "advice": "Little tension.", "question": "fragile_skin", "finding": "caution"}


@pytest.fixture
def address(tape: Application) -> str:
    return f"/patients/{tape.patient.pk}/"


def worn(tape: Application, *, days_ago: int, days: int = 4, **changes: object) -> Application:
    """An ended tape of the same patient, with one strip."""
    at = NOW - timedelta(days=days_ago)
    plan = StripPlanFactory(screen=ScreenFactory(patient=tape.patient, made_at=at, region="elbow", side="right"))
    StripFactory(plan=plan, position=1)
    ended: Application = ApplicationFactory(
        patient=tape.patient,
        plan=plan,
        applied_at=at,
        ended_at=at + timedelta(days=days),
        ended_how="off",
        ended_by="patient",
        **changes,
    )
    return ended


def test_every_reading_of_a_record_is_an_event(signed_in: SignedIn, tape: Application, address: str) -> None:
    client, user = signed_in()
    client.get(address)
    event = Event.objects.get(verb="patient.read")
    assert (event.actor, event.patient, event.subject_id, event.fields) == (
        user,
        tape.patient,
        str(tape.patient.pk),
        [],
    )


def test_the_cautions_of_each_place_stand_first(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    signed_in()
    ScreenFactory(patient=tape.patient, region="elbow", made_at=NOW - timedelta(days=9), reasons=[REASON])
    page = text_of(address)
    assert "Is the skin thin? Little tension." in page
    assert page.index('id="cautions"') < page.index('id="on-skin"')


def test_only_the_last_screen_of_a_place_speaks(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    signed_in()
    ScreenFactory(patient=tape.patient, made_at=NOW - timedelta(days=9), reasons=[REASON])
    assert "Is the skin thin?" not in text_of(address)


def test_an_open_skin_report_is_a_caution(signed_in: SignedIn, tape: Application, address: str, text_of: Text) -> None:
    signed_in()
    report = SkinReport.objects.create(patient=tape.patient, application=tape, reported_at=NOW, signs=["itching"])
    page = text_of(address)
    assert "Skin report open" in page
    assert f"/reports/{report.pk}/" in page
    assert "reaction</span>" in page


def test_what_is_on_the_skin_says_until_when_and_by_whom(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    signed_in()
    page = text_of(address)
    assert "20 minutes left" in page
    assert "Mon 15 Mar; last day Mon 15 Mar; earlier is always allowed" in page
    assert "the patient, at home" in page


def test_the_timeline_tells_cut_tension_days_worn_and_ending(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    """The strip is example 2 of the cutting formula: span 300 mm, anchors 50 mm, stretch 25 %: 286 mm of paper."""
    signed_in()
    worn(tape, days_ago=30, ending_note="slight itch for a day")
    page = text_of(address)
    assert "28.6 cm</strong> for a span of 30.0 cm, tension 62 % of what this tape can give" in page
    assert "Worn 4 days; taken off" in page
    assert "slight itch for a day" in page


def test_days_worn_are_calendar_days_over_the_clock_change(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    """New York puts its clocks back on 1 November 2026; from 30 October to 3 November are four days."""
    signed_in()
    worn(tape, days_ago=131)
    assert "Worn 4 days" in text_of(address)


def test_again_as_last_time_offers_place_and_goal_and_copies_no_screen(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    signed_in()
    worn(tape, days_ago=30)
    page = text_of(address)
    assert f'href="/patients/{tape.patient.pk}/screen/?region=elbow&amp;side=right&amp;goal=ease_pain"' in page
    assert "The skin is screened anew each time" in page


@pytest.mark.parametrize(
    ("role", "taps"), [("therapist", True), ("student", True), ("desk", False), ("manager", False)]
)
def test_only_those_who_tape_see_cautions_cuts_notes_and_the_button(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text, role: str, *, taps: bool
) -> None:
    signed_in(role)
    worn(tape, days_ago=30, ending_note="slight itch for a day")
    ScreenFactory(patient=tape.patient, region="elbow", made_at=NOW - timedelta(days=9), reasons=[REASON])
    page = text_of(address)
    hidden = ("Tape this patient", "Is the skin thin?", "28.6 cm", "slight itch for a day", "Again as last time")
    assert [words in page for words in hidden] == [taps] * len(hidden)
    assert "Worn 4 days" in page


def test_visits_to_come_calls_and_messages_are_there(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    signed_in("desk")
    visit = VisitFactory(patient=tape.patient)
    CallItemFactory(application=tape)
    MessageFactory(application=tape, planned_for=NOW + timedelta(days=5))
    page = text_of(address)
    assert f"/visits/{visit.pk}/" in page
    assert "tape should be off" in page
    assert "day 5 of the wear window" in page


def test_nobodys_record_shows_another_patients_tape(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    signed_in()
    other: Application = ApplicationFactory()
    MessageFactory(application=other)
    page = text_of(address)
    assert f"/applications/{other.pk}/" not in page
    assert "No messages yet." in page


def test_a_new_patients_page_says_what_next(signed_in: SignedIn, clinic: Clinic, text_of: Text) -> None:
    signed_in()
    page = text_of(f"/patients/{PatientFactory(born=None).pk}/")
    assert "No skin screen yet" in page
    assert "No tape is on the skin." in page
    assert "No taping has ended yet." in page


@pytest.mark.parametrize("role", ["therapist", "desk"])
def test_one_tape_and_thirty_take_the_same_few_queries(
    signed_in: SignedIn, tape: Application, address: str, queries_of: Callable[[str], int], role: str
) -> None:
    def fill(first: int, last: int) -> None:
        for number in range(first, last):
            ended = worn(tape, days_ago=30 + 10 * number)
            SkinReport.objects.create(patient=tape.patient, application=ended, reported_at=NOW, signs=[])
            MessageFactory(application=ended)
            CallItemFactory(application=ended)
            HelperFactory(patient=tape.patient)
            VisitFactory(patient=tape.patient)

    signed_in(role)
    fill(0, 1)
    few = queries_of(address)
    fill(1, 30)
    assert queries_of(address) == few
    assert few <= 15


def test_tape_on_the_skin_is_shown_however_long_the_history(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    signed_in()
    for number in range(41):
        worn(tape, days_ago=30 + 10 * number)
    page = text_of(address)
    assert f'id="tape-{tape.pk}"' in page
    assert "Older tapings are not shown here." in page
