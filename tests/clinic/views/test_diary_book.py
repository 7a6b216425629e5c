"""Booking: a free time in two taps, one written by hand, and everything that refuses to be booked."""

import html
import re
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.models import Clinic, Closure, Patient, User, Visit
from tests.factories.clinic import PatientFactory, UserFactory, VisitFactory
from tests.factories.taping import ApplicationFactory

SignedIn = Callable[..., tuple[Client, User]]
NEW_YORK = ZoneInfo("America/New_York")
TEN = "2027-03-11T10:00:00-05:00"


@pytest.fixture(autouse=True)
def at_now(now: datetime) -> Iterator[None]:
    with time_machine.travel(now, tick=False):
        yield


class Desk:
    """A clerk, a patient and the one therapist of the clinic."""

    def __init__(self, client: Client) -> None:
        self.client, self.patient, self.therapist = client, PatientFactory(), UserFactory(full_name="Thea Pist")

    def address(self, **query: Any) -> str:
        return reverse("visit_book", query={"patient": self.patient.pk, **query})

    def page(self, **query: Any) -> str:
        answer = self.client.get(self.address(**query))
        assert answer.status_code == 200
        return html.unescape(answer.content.decode())

    def post(self, query: dict[str, Any] | None = None, **typed: Any) -> Any:
        form = {"therapist": self.therapist.pk, "purpose": "taping", "minutes": 30, "once": str(uuid4()), **typed}
        return self.client.post(self.address(**(query or {})), form)


@pytest.fixture
def desk(signed_in: SignedIn) -> Desk:
    return Desk(signed_in("desk")[0])


def offered(text: str) -> list[str]:
    """The values of the buttons that book a time."""
    return re.findall(r'name="starts_at" value="([^"]+)"', text)


def refusals(answer: Any) -> list[str]:
    """The reasons in the summary; the form was refused and nothing was booked."""
    text = html.unescape(answer.content.decode())
    assert answer.status_code == 422
    assert "<title>Error: " in text
    summary = text.partition('class="error-summary"')[2].partition("</ul>")[0]
    return re.findall(r"<li>(?:<a [^>]*>)?([^<]+)", summary)


def test_a_button_books_the_free_time_it_shows(desk: Desk) -> None:
    first = offered(desk.page())[0]
    assert first == "2027-03-10T10:30:00-05:00"
    answer = desk.post(starts_at=first, note="rings first")
    visit = Visit.objects.get()
    assert answer.headers["Location"] == reverse("visit_page", args=[visit.pk])
    assert visit.starts_at == datetime(2027, 3, 10, 15, 30, tzinfo=UTC)
    assert visit.ends_at - visit.starts_at == timedelta(minutes=30)
    assert (visit.patient, visit.therapist, visit.note) == (desk.patient, desk.therapist, "rings first")


def test_taken_times_and_times_past_are_not_offered(desk: Desk) -> None:
    VisitFactory(therapist=desk.therapist, starts_at=datetime.fromisoformat("2027-03-10T10:30:00-05:00"))
    VisitFactory(starts_at=datetime.fromisoformat("2027-03-10T11:00:00-05:00"))
    assert offered(desk.page())[:2] == ["2027-03-10T11:00:00-05:00", "2027-03-10T11:30:00-05:00"]


@pytest.mark.parametrize("words", ["elodie", "MARSH", "04/03/1985", "1985-04-03", "555 0177"])
def test_without_a_patient_the_page_asks_for_whom_and_keeps_the_rest(desk: Desk, words: str) -> None:
    Patient.objects.filter(pk=desk.patient.pk).update(
        full_name="Élodie Marsh", search_text="elodie marsh", born=date(1985, 4, 3), phone="+12125550177"
    )
    answer = desk.client.get(reverse("visit_book", query={"q": words, "day": "2027-03-12"}))
    assert f'href="?patient={desk.patient.pk}&amp;day=2027-03-12"' in answer.content.decode()


def test_nobody_found_leads_to_a_new_patient(desk: Desk) -> None:
    text = desk.client.get(reverse("visit_book", query={"q": "zzz"})).content.decode()
    assert f'href="{reverse("patient_add")}?name=zzz"' in text


def test_a_patient_who_does_not_exist_is_not_found(desk: Desk) -> None:
    assert desk.client.get(reverse("visit_book", query={"patient": 999999})).status_code == 404


def test_the_wear_window_comes_first_with_its_days_counted(desk: Desk) -> None:
    text = desk.page(first="2027-03-15", last="2027-03-16", applied="2027-03-11", purpose="removal")
    inside, _, others = text.partition("Other days")
    assert re.findall(r"day \d of the wear window", inside) == ["day 4 of the wear window", "day 5 of the wear window"]
    assert {value[:10] for value in offered(inside)} == {"2027-03-15", "2027-03-16"}
    # after the window nothing is offered for a removal; before it is always allowed
    assert {value[:10] for value in offered(others)} == {"2027-03-10", "2027-03-11", "2027-03-12"}


def test_a_follow_up_may_come_after_the_window(desk: Desk) -> None:
    others = desk.page(first="2027-03-11", last="2027-03-12", purpose="follow_up").partition("Other days")[2]
    assert {value[:10] for value in offered(others)} == {"2027-03-10", "2027-03-15", "2027-03-16"}


def test_a_window_day_without_a_free_time_says_why(desk: Desk) -> None:
    Closure.objects.create(day=date(2027, 3, 15), reason="Founders' day")
    text = desk.page(first="2027-03-14", last="2027-03-15")
    inside = " ".join(re.sub(r"<[^>]+>", " ", text.partition("Other days")[0]).split())
    assert "Sun 14 Mar · inside the wear window · no opening hours on this weekday" in inside
    assert "Mon 15 Mar · inside the wear window · closed: Founders' day" in inside


def test_a_removal_written_for_after_the_window_is_refused_and_one_inside_holds_the_tape(desk: Desk) -> None:
    tape = ApplicationFactory(patient=desk.patient)  # taped on Wednesday 10 March: days 4 and 5 are the 14th and 15th
    late = desk.post(purpose="removal", on="2027-03-16", at="10:00")
    reason = "The last day of the wear window is Mon 15 Mar 2027. Choose a time on that day or before it."
    assert refusals(late) == [reason]
    assert Visit.objects.count() == 0
    desk.post(purpose="removal", on="2027-03-15", at="10:00")
    tape.refresh_from_db()
    assert (tape.removal_visit, tape.removal_day) == (Visit.objects.get(), date(2027, 3, 15))


def test_after_the_window_has_closed_the_page_says_what_to_do(desk: Desk) -> None:
    text = desk.page(first="2027-03-05", last="2027-03-06", purpose="removal")
    assert "The wear window ended Sat 6 Mar." in text
    assert '<option value="follow_up" selected>' in text


@pytest.mark.parametrize(
    "query", [{"first": "2027-03-16", "last": "2027-03-15"}, {"first": "x", "last": "y"}, {"first": "2027-03-15"}]
)
def test_a_window_that_makes_no_sense_is_left_out(desk: Desk, query: dict[str, str]) -> None:
    assert "wear window" not in desk.page(**query)


def test_a_time_written_by_hand_is_booked(desk: Desk) -> None:
    desk.post(on="2027-03-11", at="14:10")
    assert Visit.objects.get().starts_at == datetime(2027, 3, 11, 19, 10, tzinfo=UTC)


@pytest.mark.parametrize("at", ["15:00", "15:00:00", "15:00:00.000"])
def test_every_way_a_browser_sends_a_time_is_read(desk: Desk, at: str) -> None:
    desk.post(on="2027-04-02", at=at)
    assert Visit.objects.get().starts_at == datetime(2027, 4, 2, 19, 0, tzinfo=UTC)


def test_the_inputs_are_written_as_browsers_read_them(desk: Desk) -> None:
    text = desk.page(day="2027-04-02")
    assert 'type="date" name="day" value="2027-04-02"' in text
    assert 'min="2027-03-10" max="2029-03-11"' in text
    again = html.unescape(desk.post(on="2027-04-02", at="07:05", minutes="x").content.decode())
    assert 'type="date" name="on" value="2027-04-02"' in again
    assert 'type="time" name="at" value="07:05"' in again


@pytest.mark.parametrize(
    ("zone", "on", "at", "reason"),
    [
        # tz database: New York skips 02:00-03:00 on 14 March 2027, London 01:00-02:00 on 28 March
        ("America/New_York", "2027-03-14", "02:30", "The clocks go forward that night and 02:30 does not exist."),
        ("Europe/London", "2027-03-28", "01:30", "The clocks go forward that night and 01:30 does not exist."),
        # and London shows 01:00-02:00 twice on 31 October 2027
        ("Europe/London", "2027-10-31", "01:30", "The clocks go back that night and 01:30 comes twice."),
    ],
)
def test_a_time_that_is_skipped_or_comes_twice_is_refused(desk: Desk, zone: str, on: str, at: str, reason: str) -> None:
    Clinic.objects.update(time_zone=zone)
    assert refusals(desk.post(on=on, at=at)) == [f"{reason} Choose an earlier or a later time."]
    assert Visit.objects.count() == 0


@pytest.mark.parametrize(
    ("typed", "reason"),
    [
        ({}, "Choose one of the free times, or write a date and a time."),
        ({"on": "2027-03-11"}, "Write the time too."),
        ({"at": "10:00"}, "Write the date too."),
        ({"on": "11/03/2027", "at": "10:00"}, "Write the date with year, month and day, like 2027-03-16."),
        ({"on": "2027-03-11", "at": "10am"}, "Write the time with hours and minutes, like 14:30."),
        ({"on": "9999-12-31", "at": "23:59"}, "Choose a day within the next two years."),
        ({"on": "2027-03-10", "at": "10:00"}, "That time has already passed. Choose a later one."),
        ({"starts_at": TEN[:-6]}, "Choose one of the free times, or write a date and a time."),
        ({"starts_at": "0001-01-01T00:00:00+10:00"}, "Choose one of the free times, or write a date and a time."),
        ({"starts_at": "soon"}, "Choose one of the free times, or write a date and a time."),
        ({"starts_at": TEN, "minutes": "0"}, "A visit takes at least 5 minutes."),
        ({"starts_at": TEN, "minutes": "481"}, "A visit takes at most 480 minutes."),
        ({"starts_at": TEN, "minutes": ""}, "Write how many minutes the visit takes."),
        ({"starts_at": TEN, "therapist": "999999"}, "Choose somebody who treats here."),
        ({"starts_at": TEN, "note": "a\x00b"}, "Null characters are not allowed."),
    ],
)
def test_what_cannot_be_booked_says_what_to_do(desk: Desk, typed: dict[str, Any], reason: str) -> None:
    assert refusals(desk.post(**typed)) == [reason]
    assert Visit.objects.count() == 0


def test_a_time_just_taken_is_refused_and_the_form_kept(desk: Desk) -> None:
    VisitFactory(therapist=desk.therapist, starts_at=datetime.fromisoformat(TEN))
    query = {"first": "2027-03-15", "last": "2027-03-16", "next": "/patients/"}
    answer = desk.post(query, starts_at=TEN, note="rings first", minutes=45, purpose="other")
    text = html.unescape(answer.content.decode())
    assert refusals(answer) == [
        "That time was just taken. Thea Pist already has a visit at that time. Choose another time."
    ]
    assert 'name="note" value="rings first"' in text
    assert 'name="minutes" value="45"' in text
    assert '<option value="other" selected>' in text
    assert 'name="next" value="/patients/"' in text
    assert "Inside the wear window" in text
    assert (TEN in offered(text), Visit.objects.count()) == (False, 1)


def test_the_same_form_sent_twice_books_once(desk: Desk) -> None:
    key = str(uuid4())
    answers = [desk.post(starts_at=TEN, once=key) for _ in range(2)]
    assert answers[0].headers["Location"] == answers[1].headers["Location"]
    assert Visit.objects.count() == 1


@pytest.mark.parametrize(
    ("wanted", "led_to"),
    [("/patients/", "/patients/"), ("https://example.net/", None), ("//example.net", None), ("/" + "x" * 250, None)],
)
def test_after_booking_the_way_leads_back_but_never_elsewhere(desk: Desk, wanted: str, led_to: str | None) -> None:
    answer = desk.post({"next": wanted}, starts_at=TEN)
    assert answer.headers["Location"] == (led_to or reverse("visit_page", args=[Visit.objects.get().pk]))


@pytest.mark.parametrize(
    ("on", "at", "why"),
    [
        ("2027-03-11", "07:45", "outside the opening hours"),
        ("2027-03-11", "17:45", "outside the opening hours"),
        ("2027-03-13", "10:00", "no opening hours on this weekday"),
        ("2027-03-15", "10:00", "closed: Founders' day"),
    ],
)
def test_an_unusual_time_is_booked_and_said_to_be_so(desk: Desk, on: str, at: str, why: str) -> None:
    Closure.objects.create(day=date(2027, 3, 15), reason="Founders' day")
    answer = desk.client.get(desk.post(on=on, at=at).headers["Location"])
    assert f"Mind that this time is out of the ordinary ({why})." in html.unescape(answer.content.decode())


def test_a_usual_time_gets_no_such_word(desk: Desk) -> None:
    answer = desk.client.get(desk.post(on="2027-03-11", at="17:30").headers["Location"])
    assert "out of the ordinary" not in answer.content.decode()


def chosen(text: str) -> str:
    """The number of the therapist who is chosen beforehand."""
    return str(re.findall(r'<option value="(\d+)" selected>', text)[0])


def test_the_desk_is_offered_whoever_saw_the_patient_last(desk: Desk, now: datetime) -> None:
    seen, planned, called_off = (UserFactory() for _ in range(3))
    VisitFactory(patient=desk.patient, therapist=seen, starts_at=now - timedelta(days=9), state="done")
    VisitFactory(patient=desk.patient, therapist=planned, starts_at=now - timedelta(days=3), state="done")
    VisitFactory(patient=desk.patient, therapist=called_off, starts_at=now - timedelta(days=1), state="cancelled")
    assert chosen(desk.page()) == str(planned.pk)
    assert chosen(desk.page(therapist=seen.pk)) == str(seen.pk)


def test_a_therapist_is_offered_their_own_time(signed_in: SignedIn) -> None:
    client, user = signed_in()
    desk = Desk(client)
    VisitFactory(patient=desk.patient, therapist=desk.therapist)
    assert chosen(desk.page()) == str(user.pk)


def test_a_day_whose_hours_are_over_says_so(desk: Desk, now: datetime) -> None:
    with time_machine.travel(now + timedelta(hours=8), tick=False):
        assert "nothing is free any more" in desk.page()


def test_nobody_to_book_with_is_said(desk: Desk) -> None:
    User.objects.filter(pk=desk.therapist.pk).update(is_active=False)
    assert "Nobody treats here yet" in desk.page()


def test_later_days_keep_what_was_asked_for(desk: Desk) -> None:
    text = desk.page(minutes=45, purpose="other", next="/patients/")
    expected = f"?patient={desk.patient.pk}&next=%2Fpatients%2F&therapist={desk.therapist.pk}"
    assert f'href="{expected}&purpose=other&minutes=45&day=2027-03-17"' in text


def test_a_full_diary_takes_as_many_queries_as_an_empty_one(desk: Desk) -> None:
    query = {"first": "2027-03-15", "last": "2027-03-16"}
    counts = list[int]()
    for count in (1, 29):
        start = datetime(2027, 3, 11 + len(counts), 9, tzinfo=NEW_YORK)
        for number in range(count):
            at = start + timedelta(minutes=10 * number)
            VisitFactory(therapist=desk.therapist, starts_at=at, ends_at=at + timedelta(minutes=10))
        with CaptureQueriesContext(connection) as caught:
            desk.page(**query)
        counts.append(len(caught))
    assert counts[0] == counts[1]
    assert counts[0] <= 15


def test_what_is_chosen_on_the_page_is_what_is_booked(desk: Desk) -> None:
    """Therapist, purpose and length stand in the form whose buttons book, so nothing has to be shown anew first."""
    other = UserFactory(full_name="Una Other")
    page = desk.page()
    assert page.count("<form") == page.count('<form method="post"') == 2  # the log-out, and the whole page
    desk.post(therapist=other.pk, purpose="removal", minutes=45, starts_at=TEN)
    visit = Visit.objects.get()
    assert (visit.therapist, visit.purpose, visit.ends_at - visit.starts_at) == (
        other,
        "removal",
        timedelta(minutes=45),
    )


@pytest.mark.parametrize("pressed", ["look", "enter"])
def test_looking_for_other_times_books_nothing_and_keeps_the_choices(desk: Desk, pressed: str) -> None:
    answer = desk.post({"next": "/patients/"}, minutes=45, purpose="other", day="2027-03-12", **{pressed: "1"})
    expected = f"?patient={desk.patient.pk}&next=%2Fpatients%2F&therapist={desk.therapist.pk}"
    assert answer.headers["Location"] == f"{expected}&day=2027-03-12&purpose=other&minutes=45"
    assert not Visit.objects.exists()


def test_enter_beside_a_written_time_books_it(desk: Desk) -> None:
    desk.post(enter="1", on="2027-03-11", at="10:00")
    assert Visit.objects.get().starts_at == datetime.fromisoformat(TEN)


def test_the_window_of_the_tape_that_is_on_is_marked_wherever_the_booking_began(desk: Desk) -> None:
    ApplicationFactory(patient=desk.patient, ended_at=None)
    page = desk.page()
    assert "Inside the wear window" in page
    assert "day 4 of the wear window" in page
    assert "Inside the wear window" not in desk.page(patient=PatientFactory().pk)


def test_moving_marks_the_window_too(desk: Desk) -> None:
    visit = VisitFactory(patient=desk.patient, therapist=desk.therapist)
    address = reverse("visit_move", args=[visit.pk])
    assert "Inside the wear window" not in desk.client.get(address).content.decode()
    ApplicationFactory(patient=desk.patient, ended_at=None)
    assert "Inside the wear window" in desk.client.get(address).content.decode()


def purpose(page: str) -> str:
    chosen: list[str] = re.findall(r'<option value="(\w+)" selected>', page.partition('name="purpose"')[2])
    return chosen[0]


def test_what_the_visit_is_for_begins_with_the_likeliest(desk: Desk) -> None:
    """Tape that we take off needs its removal; other tape on the skin a look; nobody's skin a taping."""
    assert purpose(desk.page()) == "taping"
    tape = ApplicationFactory(patient=desk.patient, removal="clinic")
    assert purpose(desk.page()) == "removal"
    tape.removal_visit = VisitFactory(patient=desk.patient, purpose="removal")
    tape.save()
    assert purpose(desk.page()) == "follow_up"
    assert purpose(desk.page(purpose="other")) == "other"
