"""Today, as the desk and the therapist read it."""

from collections.abc import Callable
from datetime import timedelta

import pytest
import time_machine
from django.test import Client

from clinic.models import Clinic, User
from reminders.models import CallItem
from reminders.services.answers import answer_skin
from taping.models import Application
from tests.factories import (
    ApplicationFactory,
    CallItemFactory,
    HelperFactory,
    MessageFactory,
    PatientFactory,
    UserFactory,
    VisitFactory,
)
from tests.factories.clinic import NOW

SignedIn = Callable[..., tuple[Client, User]]
Text = Callable[[str], str]

MOST_QUERIES = 15


def before(page: str, first: str, second: str) -> bool:
    return -1 < page.find(first) < page.find(second)


def busy_day(count: int, supervisor: User) -> None:
    """count rows of everything that Today lists."""
    for number in range(count):
        late: Application = ApplicationFactory(applied_at=NOW - timedelta(days=9), removal="clinic")
        HelperFactory(patient=late.patient, gets_messages=True)
        CallItemFactory(application=late)
        MessageFactory(application=late, kind="removal_overdue", state="sent")
        ApplicationFactory(applied_at=NOW - timedelta(minutes=5), supervisor=supervisor)
        VisitFactory(therapist=UserFactory(), starts_at=NOW + timedelta(minutes=number), purpose="removal")
        VisitFactory(therapist=UserFactory(), starts_at=NOW - timedelta(days=1), state="did_not_attend")


@pytest.mark.parametrize("role", ["desk", "therapist", "student", "manager"])
def test_one_row_and_thirty_take_the_same_few_queries(
    signed_in: SignedIn, queries_of: Callable[[str], int], role: str
) -> None:
    _, user = signed_in(role)
    busy_day(1, user)
    few = queries_of("/")
    busy_day(29, user)
    assert queries_of("/") == few
    assert few <= MOST_QUERIES


def test_the_desk_reads_the_call_list_first(signed_in: SignedIn, tape: Application, text_of: Text) -> None:
    signed_in("desk")
    CallItemFactory(application=tape)
    page = text_of("/")
    assert before(page, 'id="calls"', 'id="visits"')
    assert before(page, 'id="visits"', 'id="waits"')


def test_the_therapist_reads_the_running_waits_first(signed_in: SignedIn, tape: Application, text_of: Text) -> None:
    signed_in("therapist")
    page = text_of("/")
    assert before(page, 'id="waits"', 'id="visits"')
    assert before(page, 'id="visits"', 'id="calls"')


def test_a_person_who_is_both_gets_both(signed_in: SignedIn, tape: Application, text_of: Text) -> None:
    _, user = signed_in("therapist")
    User.objects.filter(pk=user.pk).update(is_front_desk=True)
    page = text_of("/")
    assert [f'id="{part}"' in page for part in ("waits", "calls", "visits", "follow-ups")] == [True] * 4


@pytest.mark.parametrize(
    ("minutes", "said"),
    [(0, "20 minutes left"), (12.5, "8 minutes left"), (19, "1 minute left"), (19.99, "1 minute left")],
)
def test_without_scripts_the_minutes_are_those_when_the_page_was_made(
    signed_in: SignedIn, tape: Application, text_of: Text, frozen: time_machine.Traveller, minutes: float, said: str
) -> None:
    signed_in()
    frozen.move_to(NOW + timedelta(minutes=minutes))
    assert f">{said}</strong>" in text_of("/")


def test_a_wait_that_is_over_is_not_listed(
    signed_in: SignedIn, tape: Application, text_of: Text, frozen: time_machine.Traveller
) -> None:
    signed_in()
    frozen.move_to(NOW + timedelta(minutes=20))
    assert "No tape is setting." in text_of("/")


def test_the_wait_gives_the_script_an_end_in_the_clinics_clock(
    signed_in: SignedIn, tape: Application, text_of: Text
) -> None:
    signed_in()
    page = text_of("/")
    assert 'data-ends-at="2027-03-10T10:20:00-05:00"' in page
    assert 'data-server-now="2027-03-10T10:00:00-05:00"' in page


def test_a_call_shows_whom_to_ask_for_what_to_dial_and_the_patients_words(
    signed_in: SignedIn, tape: Application, text_of: Text
) -> None:
    signed_in("desk")
    HelperFactory(
        patient=tape.patient, full_name="Hal Percival", phone="+12125550177", gets_messages=True, language="es"
    )
    tape.patient.interpreter = "Ines Terp"
    tape.patient.save()
    CallItemFactory(application=tape, reason="call_back", words="after five please")
    page = text_of("/")
    assert 'href="tel:+12125550177"' in page
    for words in ("Hal Percival", "Speaks Spanish", "Ines Terp", "Leave no message.", "after five please", "left knee"):
        assert words in page


def test_an_urgent_skin_report_stands_first_and_is_announced(
    signed_in: SignedIn, tape: Application, text_of: Text
) -> None:
    signed_in("desk")
    CallItemFactory(application=tape, reason="call_back", since=NOW - timedelta(days=1))
    urgent = CallItemFactory(reason="skin_report", urgent=True)
    page = text_of("/")
    assert "1 urgent skin report." in page
    assert page.index('class="card-plain call-item"') == page.index(f'id="call-{urgent.pk}"') - len(
        'class="card-plain call-item" '
    )


def test_a_call_to_be_tried_later_stands_last(signed_in: SignedIn, tape: Application, text_of: Text) -> None:
    signed_in("desk")
    later = CallItemFactory(reason="skin_report", urgent=True, try_again_at=NOW + timedelta(minutes=15))
    now = CallItemFactory(application=tape, reason="undelivered")
    assert before(text_of("/"), f'id="call-{now.pk}"', f'id="call-{later.pk}"')


def test_closed_calls_are_gone(signed_in: SignedIn, tape: Application, text_of: Text) -> None:
    signed_in("desk")
    CallItemFactory(application=tape, closed_at=NOW)
    assert "Nobody has to be called." in text_of("/")


def test_the_desk_sees_no_note_grade_or_finding(signed_in: SignedIn, tape: Application, text_of: Text) -> None:
    signed_in("desk")
    tape.plan.screen.note = "screen-note-secret"
    tape.plan.screen.save()
    tape.ending_note = "ending-note-secret"
    tape.save()
    report = tape.skin_reports.create(
        patient=tape.patient, reported_at=NOW, signs=["blister"], urgency="today", grade="grade-secret", advice="adv"
    )
    item: CallItem = CallItemFactory(application=tape, report=report, reason="skin_report", words="own words")
    addresses = ("/", f"/calls/{item.pk}/", f"/patients/{tape.patient.pk}/", f"/applications/{tape.pk}/")
    pages = "".join(text_of(address) for address in addresses)
    assert "own words" in pages
    for secret in ("screen-note-secret", "ending-note-secret", "grade-secret", "blister", "28.6 cm"):
        assert secret not in pages


def test_a_therapist_sees_only_their_own_visits_and_the_desk_all(signed_in: SignedIn, text_of: Text) -> None:
    _, user = signed_in("therapist")
    VisitFactory(therapist=user, patient=PatientFactory(full_name="Mine Own"), starts_at=NOW)
    VisitFactory(patient=PatientFactory(full_name="Some Other"), starts_at=NOW)
    page = text_of("/")
    assert ("Mine Own" in page, "Some Other" in page) == (True, False)
    User.objects.filter(pk=user.pk).update(is_front_desk=True)
    assert "Some Other" in text_of("/")


def test_a_visit_can_be_marked_in_one_tap_and_leads_back_to_today(signed_in: SignedIn) -> None:
    client, _ = signed_in("desk")
    visit = VisitFactory(starts_at=NOW)
    assert f'action="/visits/{visit.pk}/state/"' in client.get("/").content.decode()
    response = client.post(f"/visits/{visit.pk}/state/", {"state": "arrived", "next": "/"})
    visit.refresh_from_db()
    assert (visit.state, response.headers["Location"]) == ("arrived", "/")


def test_did_not_attend_is_offered_only_once_the_visit_should_have_begun(signed_in: SignedIn, text_of: Text) -> None:
    signed_in("desk")
    VisitFactory(starts_at=NOW + timedelta(minutes=1))
    assert "Did not attend" not in text_of("/")


def test_overdue_tape_stands_above_what_comes_off_today(signed_in: SignedIn, clinic: Clinic, text_of: Text) -> None:
    signed_in("desk")
    due: Application = ApplicationFactory(applied_at=NOW - timedelta(days=5))
    overdue: Application = ApplicationFactory(applied_at=NOW - timedelta(days=6))
    ApplicationFactory(applied_at=NOW - timedelta(days=4))
    page = text_of("/").partition('id="coming-off"')[2].partition("</section>")[0]
    assert before(page, f"/applications/{overdue.pk}/", f"/applications/{due.pk}/")
    assert page.count("<tr>") == 3


def test_a_removal_without_a_visit_is_to_be_booked_inside_the_window(signed_in: SignedIn, text_of: Text) -> None:
    signed_in("desk")
    tape: Application = ApplicationFactory(removal="clinic")
    page = text_of("/")
    assert (
        f"/visits/book/?patient={tape.patient_id}&amp;application={tape.pk}&amp;first=2027-03-14&amp;last=2027-03-15"
        in page
    )


def test_a_patient_who_did_not_come_is_offered_again_until_rebooked(signed_in: SignedIn, text_of: Text) -> None:
    signed_in("desk")
    missed = VisitFactory(starts_at=NOW - timedelta(days=1), state="did_not_attend")
    assert "Book again" in text_of("/")
    VisitFactory(patient=missed.patient, starts_at=NOW + timedelta(days=1))
    assert "Book again" not in text_of("/")


def test_a_students_taping_waits_for_its_supervisor_alone(signed_in: SignedIn, text_of: Text) -> None:
    _, user = signed_in("therapist")
    ApplicationFactory(supervisor=UserFactory())
    assert "tapings to sign" not in text_of("/")
    ApplicationFactory(supervisor=user)
    assert "tapings to sign" in text_of("/")


@pytest.mark.parametrize("role", ["desk", "therapist"])
def test_an_empty_day_says_why_and_what_next(signed_in: SignedIn, clinic: Clinic, text_of: Text, role: str) -> None:
    signed_in(role)
    page = text_of("/")
    assert "Nobody has to be called." in page
    assert "Open the diary" in page


def test_a_name_with_markup_stays_text(signed_in: SignedIn, text_of: Text) -> None:
    signed_in("desk")
    patient = PatientFactory(full_name="<b>Bo</b> O'Neil")
    CallItemFactory(application=ApplicationFactory(patient=patient), words="<script>alert(1)</script>")
    page = text_of("/")
    assert "&lt;b&gt;Bo&lt;/b&gt;" in page
    assert "<script>alert" not in page


def test_one_action_stands_out_and_it_belongs_to_the_first_call(
    signed_in: SignedIn, tape: Application, text_of: Text
) -> None:
    signed_in("desk")
    CallItemFactory(application=tape, reason="call_back")
    CallItemFactory(reason="undelivered")
    page = text_of("/").partition("<main")[2]
    assert page.count("btn-main") == 1
    assert 'class="btn btn-main" name="what" value="spoke"' in page


def test_for_a_therapist_a_skin_report_is_first_of_all_to_be_read(
    signed_in: SignedIn, tape: Application, text_of: Text
) -> None:
    signed_in()
    report, _ = answer_skin(now=NOW, application=tape, signs=["blister"])
    page = text_of("/").partition("<main")[2]
    assert page.count("btn-main") == 1
    assert f'class="btn btn-main" href="/reports/{report.pk}/"' in page
