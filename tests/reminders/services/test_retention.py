"""What has been kept long enough goes, at night, once; nothing else does."""

import json
from datetime import date, datetime, timedelta
from io import StringIO

import pytest
import time_machine
from django.core.management import call_command

from clinic.models import Clinic, Event, Patient
from clinic.services.events import ENGINE, Actor, event_record
from reminders.models import Message
from reminders.services.retention import retention_apply, retention_due, retention_nightly
from reminders.services.ticker import Ticker
from tests.factories import ApplicationFactory, MessageFactory, PatientFactory, VisitFactory
from tests.factories.clinic import NOW

pytestmark = pytest.mark.django_db
YEAR = timedelta(days=365)


def periods(clinic: Clinic, records: int = 0, messages: int = 0, events: int = 0) -> Clinic:
    clinic.keep_records_years, clinic.keep_messages_months, clinic.keep_events_years = records, messages, events
    clinic.save()
    return clinic


def old(years: float, **values: object) -> Patient:
    """Somebody who was added, and taped for five days, so many years ago."""
    at = NOW - years * YEAR
    tape = ApplicationFactory(applied_at=at - timedelta(days=5), ended_at=at, ended_how="off", **values)
    Patient.objects.filter(pk=tape.patient_id).update(created_at=at - timedelta(days=30))
    return Patient.objects.get(pk=tape.patient_id)


def test_without_periods_nothing_ever_goes(clinic: Clinic) -> None:
    old(60)
    MessageFactory(state="sent", text="x", settled_at=NOW - 60 * YEAR, planned_for=NOW - 60 * YEAR)
    due = retention_due(periods(clinic), now=NOW)
    assert (due.records, due.messages, due.events) == ([], 0, 0)


def test_records_go_after_their_years(clinic: Clinic) -> None:
    gone, kept = old(10.1), old(9.9)
    came_again = old(12)
    VisitFactory(patient=came_again, starts_at=NOW - YEAR, state="done")
    child = old(11, patient=PatientFactory(born=date(2010, 1, 1)))
    clinic = periods(clinic, records=10)
    assert retention_due(clinic, now=NOW).records == [gone.pk]
    assert Patient.objects.filter(erased_at=None).count() == 4
    assert retention_apply(clinic, actor=ENGINE, now=NOW).records == [gone.pk]
    assert list(Patient.objects.filter(erased_at=None).order_by("pk")) == [kept, came_again, child]
    assert retention_apply(clinic, actor=ENGINE, now=NOW).records == []


def test_a_record_with_tape_on_the_skin_is_not_even_asked_about(clinic: Clinic) -> None:
    worn = old(11)
    ApplicationFactory(patient=worn, applied_at=NOW - 11 * YEAR, screen__region="elbow")
    due = retention_due(periods(clinic, records=10), now=NOW)
    assert (due.records, due.waiting) == ([], [])


def test_what_is_still_open_waits_and_holds_up_no_other(clinic: Clinic) -> None:
    from taping.models import SkinReport

    waits, goes = old(11), old(11)
    SkinReport.objects.create(patient=waits, reported_at=NOW - 11 * YEAR, reported_by="patient", signs=[], urgency="x")
    clinic = periods(clinic, records=10)
    found = retention_due(clinic, now=NOW)
    assert (found.records, [pk for pk, _ in found.waiting]) == ([goes.pk], [waits.pk])
    done = retention_apply(clinic, actor=ENGINE, now=NOW)
    assert (done.records, "skin report is open" in done.waiting[0][1]) == ([goes.pk], True)


def test_at_most_so_many_a_night(clinic: Clinic) -> None:
    first, second = old(11), old(11)
    clinic = periods(clinic, records=10)
    assert retention_apply(clinic, actor=ENGINE, now=NOW, most=1).records == [first.pk]
    assert retention_apply(clinic, actor=ENGINE, now=NOW, most=1).records == [second.pk]


def test_words_of_messages_go_and_the_messages_stay(clinic: Clinic) -> None:
    def sent(days: int, state: str = "sent") -> Message:
        at = NOW - timedelta(days=days)
        return MessageFactory(state=state, text="Hello Ada", address="+12125550123", settled_at=at, planned_for=at)

    before, after, uncertain = sent(190), sent(170), sent(190, "uncertain")
    clinic = periods(clinic, messages=6)
    assert retention_due(clinic, now=NOW).messages == 1
    assert retention_apply(clinic, actor=ENGINE, now=NOW).messages == 1
    for row in (before, after, uncertain):
        row.refresh_from_db()
    assert [(row.text, row.address) for row in (before, after)] == [("", ""), ("Hello Ada", "+12125550123")]
    assert (uncertain.text, before.state) == ("Hello Ada", "sent")
    assert Event.objects.get(verb="messages.emptied").fields == ["address", "text"]


def test_old_events_go_by_the_door_and_that_is_an_event(clinic: Clinic) -> None:
    for years in (3.1, 2.9):
        event_record(actor=Actor(word="test"), verb="patient.read", subject=clinic, now=NOW - years * YEAR)
    clinic = periods(clinic, events=3)
    assert retention_due(clinic, now=NOW).events == 1
    assert retention_apply(clinic, actor=ENGINE, now=NOW).events == 1
    assert list(Event.objects.order_by("at").values_list("verb", flat=True)) == ["patient.read", "events.removed"]


def at(hour: int, day: int = 10) -> datetime:
    """A time of March 2027 in New York, before the clock change."""
    return datetime.fromisoformat(f"2027-03-{day:02}T{hour:02}:30:00-05:00")


def test_the_round_is_made_once_a_night_by_one_process(clinic: Clinic) -> None:
    assert retention_nightly(now=at(4), holder="a") is None, "no period is set"
    periods(clinic, records=10)
    assert retention_nightly(now=at(2), holder="a") is None
    assert retention_nightly(now=at(4), holder="a") is not None
    assert retention_nightly(now=at(5), holder="b") is None
    gone = old(11)
    assert retention_nightly(now=at(2, 11), holder="b") is None
    done = retention_nightly(now=at(3, 11), holder="b")
    assert done is not None
    assert done.records == [gone.pk]


def test_the_ticker_makes_it(clinic: Clinic) -> None:
    periods(clinic, records=10)
    gone = old(11)
    ticker = Ticker(lambda: at(4))
    assert ticker.tick()
    assert Patient.objects.get(pk=gone.pk).erased_at == at(4)


def test_the_command_says_what_would_go_and_does_nothing(clinic: Clinic) -> None:
    periods(clinic, records=10)
    gone = old(11)

    def said(*words: str) -> str:
        out = StringIO()
        with time_machine.travel(NOW, tick=False):
            call_command("retention", *words, stdout=out)
        return out.getvalue().strip()

    assert said("--dry-run") == "would go: 1 records, the words of 0 messages, 0 events"
    assert json.loads(said("--dry-run", "--json"))["records"] == [gone.pk]
    assert Patient.objects.filter(erased_at=None).count() == 1
    assert said() == "went: 1 records, the words of 0 messages, 0 events"
    assert not Patient.objects.filter(erased_at=None).exists()
