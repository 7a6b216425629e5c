"""Today, as the desk and the therapist read it."""

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from clinic.models import Clinic, User, Visit
from reminders.models import CallItem
from reminders.services.answers import answer_skin
from taping.models import Application, SkinReport
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
    assert page.count("<tr") == 3


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


def test_each_visit_of_mine_leads_to_taping_its_patient_in_one_tap(signed_in: SignedIn, text_of: Text) -> None:
    _, user = signed_in()
    later = VisitFactory(therapist=user, starts_at=NOW + timedelta(hours=2), ends_at=NOW + timedelta(hours=3))
    here = VisitFactory(therapist=user, starts_at=NOW + timedelta(hours=1), state="arrived")
    done = VisitFactory(therapist=user, starts_at=NOW - timedelta(hours=1), ends_at=NOW, state="done")
    page = text_of("/").partition("<main")[2]
    address = "/patients/{}/screen/".format
    assert f'class="btn btn-main" href="{address(here.patient_id)}"' in page
    assert f'class="btn btn-quiet" href="{address(later.patient_id)}"' in page
    assert address(done.patient_id) not in page
    assert page.count("btn-main") == 1


def test_the_desk_is_offered_no_taping(signed_in: SignedIn, text_of: Text) -> None:
    signed_in("desk")
    VisitFactory(starts_at=NOW)
    assert "Tape this patient" not in text_of("/")


LIVE = "/live/"
HTMX = {"HX-Request": "true", "X-Unattended": "1"}


@pytest.mark.parametrize("role", ["desk", "therapist", "student", "manager"])
def test_a_refresh_brings_the_same_parts_as_the_page(signed_in: SignedIn, tape: Application, role: str) -> None:
    client, user = signed_in(role)
    busy_day(2, user)
    part = re.compile(r'data-part="([\w-]+)"')
    whole, live = client.get("/").content.decode(), client.get(LIVE, headers=HTMX).content.decode()
    assert part.findall(whole) == part.findall(live)
    key = re.compile(r'data-key="([\w-]+)"')
    assert key.findall(whole) == key.findall(live)
    assert len(key.findall(live)) >= 2
    assert "<html" not in live


@pytest.mark.parametrize("headers", [{}, {**HTMX, "HX-History-Restore-Request": "true"}])
def test_the_parts_alone_are_never_the_page(signed_in: SignedIn, headers: dict[str, str]) -> None:
    """Opened by hand or restored by "back", the address of the parts leads to the whole page."""
    client, _ = signed_in()
    answer = client.get(LIVE, headers=headers)
    assert (answer.status_code, answer.headers["Location"]) == (302, "/")
    assert {"HX-Request", "HX-History-Restore-Request"} <= set(answer.headers["Vary"].split(", "))


def test_a_refresh_after_log_out_leads_the_whole_page_to_the_log_in(signed_in: SignedIn) -> None:
    client, _ = signed_in()
    client.logout()
    answer = client.get(LIVE, headers=HTMX | {"HX-Current-URL": "http://testserver/?x=1"})
    assert (answer.status_code, answer.content) == (204, b"")
    assert answer.headers["HX-Redirect"] == "/log-in/?next=/%3Fx%3D1"


def test_one_row_and_thirty_take_the_same_few_queries_at_a_refresh(signed_in: SignedIn) -> None:
    client, user = signed_in()

    def count() -> int:
        with CaptureQueriesContext(connection) as queries:
            assert client.get(LIVE, headers=HTMX).status_code == 200
        return len(queries)

    busy_day(1, user)
    few = count()
    busy_day(29, user)
    assert count() == few
    assert few <= MOST_QUERIES


def test_an_urgent_report_carries_the_words_that_announce_it(signed_in: SignedIn, tape: Application) -> None:
    client, _ = signed_in("desk")
    CallItemFactory(application=tape, reason="call_back")
    item = CallItemFactory(application=tape, reason="skin_report", urgent=True)
    live = client.get(LIVE, headers=HTMX).content.decode()
    assert re.findall(r'data-key="(\d+)" data-urgent="([^"]*)"', live) == [
        (str(item.pk), "Ada Quillfeather, left knee")
    ]


def counts(page: str) -> list[str]:
    """What the first line of the desk says: number and words of each part."""
    line = page.partition('data-part="counts"')[2].partition("</nav>")[0]
    return [" ".join(re.sub(r"<[^>]+>", "", one).split()) for one in re.findall(r"<a [^>]*>(.*?)</a>", line)]


def test_the_desk_reads_first_how_much_of_each_waits(signed_in: SignedIn, text_of: Text) -> None:
    signed_in("desk")
    assert counts(text_of("/")) == ["0 to call", "0 visits to come or here", "0 tapes to come off", "0 to book"]
    overdue: Application = ApplicationFactory(applied_at=NOW - timedelta(days=9), removal="clinic")
    CallItemFactory(application=overdue)
    VisitFactory(starts_at=NOW + timedelta(hours=1))
    VisitFactory(starts_at=NOW - timedelta(hours=1), state="done")
    assert counts(text_of("/")) == ["1 to call", "1 visit to come or here", "1 tape to come off", "1 to book"]


def look_at_again(tape: Application, days: int) -> SkinReport:
    report: SkinReport = SkinReport.objects.create(
        patient=tape.patient, application=tape, reported_at=NOW, reported_by="patient", urgency="today",
        kind="injury", grade="folliculitis", advised="cool it", follow_up_on=NOW.date() + timedelta(days=days),
    )  # fmt: skip
    return report


def test_skin_to_be_seen_again_is_to_be_booked_without_saying_what_was_found(
    signed_in: SignedIn, tape: Application, text_of: Text
) -> None:
    signed_in("desk")
    look_at_again(tape, 2)
    part = text_of("/").partition('id="follow-ups"')[2].partition("</section>")[0]
    assert "a therapist wants to see the skin again, left knee, Fri 12 Mar; no visit yet." in part
    assert "purpose=follow_up&amp;next=/&amp;day=2027-03-12" in part
    assert ("folliculitis" in part, "cool it" in part) == (False, False)


@pytest.mark.parametrize(
    ("day", "hours", "waits"),
    [(2, 37, True), (2, 38, False), (2, 24 * 9, False), (-7, -24 * 8, True), (-7, -24, False), (-8, -24 * 9, False)],
)
def test_a_visit_on_that_day_or_later_settles_it_and_a_week_later_it_is_history(
    signed_in: SignedIn, tape: Application, text_of: Text, day: int, hours: int, waits: bool
) -> None:
    """38 hours after Wednesday 10:00 Friday begins in New York."""
    signed_in("desk")
    look_at_again(tape, day)
    state = "booked" if hours > 0 else "done"
    VisitFactory(patient=tape.patient, starts_at=NOW + timedelta(hours=hours), state=state)
    assert ("wants to see the skin again" in text_of("/")) is waits
    Visit.objects.update(state="cancelled")
    assert ("wants to see the skin again" in text_of("/")) is (day >= -7)


@pytest.mark.parametrize("role", ["desk", "therapist"])
def test_at_the_desk_the_words_for_a_reaction_lie_open(
    signed_in: SignedIn, tape: Application, text_of: Text, role: str
) -> None:
    signed_in(role)
    CallItemFactory(application=tape, reason="skin_report")
    page = text_of("/")
    assert "First ask: is it hard to breathe" in page
    assert ('<p class="call-script">' in page) is (role == "desk")


class TestLongDay:
    """Hundreds of rows are not read by anybody: each list ends, says so, and shows the rest when asked."""

    @pytest.fixture(autouse=True)
    def desk(self, signed_in: SignedIn) -> None:
        signed_in("desk")

    def test_visits_that_are_over_make_room(self, text_of: Text) -> None:
        over = [self.visit(minutes=-1000 + number, state="done") for number in range(30)]
        come = [self.visit(minutes=number, state="booked") for number in range(40)]
        here = self.visit(minutes=500, state="arrived")
        page = text_of("/")
        listed = [int(key) for key in re.findall(r'id="visit-(\d+)"', page)]
        assert listed == [*over[-19:], *come, here]
        assert "11 more visits of today are not listed" in page

    def test_who_is_here_stays_however_many_come(self, text_of: Text) -> None:
        come = [self.visit(minutes=number, state="booked") for number in range(70)]
        here = self.visit(minutes=500, state="arrived")
        listed = [int(key) for key in re.findall(r'id="visit-(\d+)"', text_of("/"))]
        assert listed == [*come[:59], here]

    def test_the_whole_is_shown_when_asked_and_stays_whole_when_refreshed(self, client: Client, text_of: Text) -> None:
        for number in range(61):
            self.visit(minutes=number, state="booked")
            CallItemFactory(application=ApplicationFactory(applied_at=NOW - timedelta(days=9)))
        short, whole = text_of("/"), text_of("/?whole=1")
        assert [short.count('id="visit-'), whole.count('id="visit-')] == [60, 61]
        assert "1 more call follows as these are done. Show the whole list" in words(short)
        assert "1 more visit of today is not listed" in short
        assert "1 more should come off" in short
        assert not re.search("more (call|visit|should)", whole)
        assert 'hx-get="/live/?whole=1"' in whole
        live = client.get("/live/?whole=1", headers={"HX-Request": "true"}).content.decode()
        assert live.count('id="visit-') == 61

    def visit(self, *, minutes: int, state: str) -> int:
        starts_at = NOW.replace(hour=17, minute=0) + timedelta(seconds=10 * minutes)
        visit: Visit = VisitFactory(therapist=UserFactory(), starts_at=starts_at, state=state)
        return visit.pk


def words(page: str) -> str:
    return " ".join(re.sub("<[^>]+>", "", page).split())


def test_signatures_end_and_say_so(signed_in: SignedIn, text_of: Text) -> None:
    _, user = signed_in("therapist")
    for _ in range(31):
        ApplicationFactory(supervisor=user, applied_at=NOW - timedelta(minutes=5))
    short, whole = text_of("/"), text_of("/?whole=1")
    assert [page.count("Look at it and sign") for page in (short, whole)] == [30, 31]
    assert ("There may be more" in short, "There may be more" in whole) == (True, False)
