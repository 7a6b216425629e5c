"""The JSON lines: which rows, what each says, and in what order."""

from datetime import datetime, timedelta

import pytest

from clinic.models import Clinic
from reminders.models import CallItem, Message
from reminders.rehearsal.lines import Names, application_lines, call_lines, message_lines, moment
from taping.models import Application
from tests.factories import ApplicationFactory, CallItemFactory, MessageFactory, VisitFactory

pytestmark = pytest.mark.django_db

HOUR = timedelta(hours=1)


@pytest.fixture
def tape(clinic: Clinic) -> Application:
    made: Application = ApplicationFactory()
    return made


@pytest.fixture
def names(tape: Application) -> Names:
    return Names(patients={tape.patient_id: "p"}, applications={tape.pk: "a"})


def test_a_message_says_all_there_is(tape: Application, names: Names, now: datetime) -> None:
    MessageFactory(
        application=tape, state="failed", settled_at=now + HOUR, why="no such number (550)", attempts=2,
        channel="sms", address="+12125550123",
    )  # fmt: skip
    assert list(message_lines(Message.objects.all(), names)) == [
        {
            "type": "message",
            "application": "a",
            "patient": "p",
            "kind": "removal_day",
            "channel": "sms",
            "to": "+12125550123",
            "planned_for": "2027-03-10T15:00:00Z",
            "at": "2027-03-10T16:00:00Z",
            "state": "failed",
            "reasons": ["day 5 of the wear window", "no such number (550)"],
            "text": "",
            "attempts": 2,
            "joined_to": None,
        }
    ]


def test_messages_come_in_the_order_in_which_they_were_settled_and_the_others_last(
    tape: Application, names: Names, now: datetime
) -> None:
    for ordinal, settled_at in enumerate((None, now + 2 * HOUR, now + HOUR), 1):
        MessageFactory(application=tape, ordinal=ordinal, settled_at=settled_at, attempts=ordinal)
    lines = list(message_lines(Message.objects.all(), names))
    assert [(line["attempts"], line["at"]) for line in lines] == [
        (3, "2027-03-10T16:00:00Z"),
        (2, "2027-03-10T17:00:00Z"),
        (1, None),
    ]


def test_what_moved_a_message_is_said_once(tape: Application, names: Names) -> None:
    MessageFactory(application=tape, reasons=["day 5", "quiet hours"], why="quiet hours")
    assert next(message_lines(Message.objects.all(), names))["reasons"] == ["day 5", "quiet hours"]


def test_a_message_that_another_spoke_for_names_the_others_tape(tape: Application, names: Names) -> None:
    lead = MessageFactory(application=tape)
    other = ApplicationFactory(patient=tape.patient, side="right")
    MessageFactory(application=other, joined_to=lead)
    both = Names(patients=names.patients, applications={**names.applications, other.pk: "b"})
    found = [(line["application"], line["joined_to"]) for line in message_lines(Message.objects.all(), both)]
    assert found == [("a", None), ("b", "a")]


def test_a_message_about_a_visit_names_the_tape_it_was_booked_for(tape: Application, names: Names) -> None:
    visit = VisitFactory(patient=tape.patient)
    MessageFactory(application=None, patient=tape.patient, visit=visit, subject="visit:1", kind="visit_booked")
    assert [line["application"] for line in message_lines(Message.objects.all(), names)] == [None]
    booked = Names(names.patients, names.applications, {visit.pk: "a"})
    assert [line["application"] for line in message_lines(Message.objects.all(), booked)] == ["a"]


@pytest.mark.parametrize(
    ("after", "state"),
    [
        (timedelta(), "setting"),
        (timedelta(minutes=20), "on"),
        (timedelta(days=5), "due"),
        (timedelta(days=6), "overdue"),
    ],
)
def test_a_tape_has_its_state_at_the_moment_asked_for(
    tape: Application, names: Names, now: datetime, after: timedelta, state: str
) -> None:
    line = next(application_lines(Application.objects.all(), names, now + after))
    assert line == {
        "type": "application",
        "ref": "a",
        "opens_on": "2027-03-14",
        "closes_on": "2027-03-15",
        "removal_day": "2027-03-15",
        "state": state,
        "ended_at": None,
        "ended_how": None,
    }


def test_tapes_come_in_the_order_of_their_names_and_only_those_asked_for(tape: Application, now: datetime) -> None:
    other = ApplicationFactory(ended_at=now + HOUR, ended_how="came_off")
    both = Names(patients={}, applications={other.pk: "b", tape.pk: "a"})
    lines = list(application_lines(Application.objects.all(), both, now + 2 * HOUR))
    assert [(line["ref"], line["state"], line["ended_at"]) for line in lines] == [
        ("b", "off", "2027-03-10T16:00:00Z"),
        ("a", "on", None),
    ]
    only = application_lines(Application.objects.filter(pk=tape.pk), both, now)
    assert [line["ref"] for line in only] == ["a"]


def test_calls_come_in_the_order_in_which_they_opened(tape: Application, names: Names, now: datetime) -> None:
    CallItemFactory(application=tape, reason="overdue", since=now + HOUR)
    CallItemFactory(application=None, patient=tape.patient, reason="reply", since=now)
    assert list(call_lines(CallItem.objects.all(), names)) == [
        {"type": "call", "patient": "p", "application": None, "reason": "reply", "since": "2027-03-10T15:00:00Z"},
        {"type": "call", "patient": "p", "application": "a", "reason": "overdue", "since": "2027-03-10T16:00:00Z"},
    ]


def test_moments_are_utc_to_the_last_digit_that_says_something(now: datetime) -> None:
    assert moment(None) is None
    assert moment(now) == "2027-03-10T15:00:00Z"
    assert moment(now + timedelta(milliseconds=250)) == "2027-03-10T15:00:00.250000Z"
