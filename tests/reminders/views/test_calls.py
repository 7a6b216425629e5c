"""Working the call list in one tap, and the therapist's finding."""

import re
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

import pytest
from django.test import Client

from clinic.models import Event, User
from reminders.models import CallItem
from reminders.services.answers import answer_skin
from taping.models import Application, SkinReport
from tests.factories import CallItemFactory, UserFactory
from tests.factories.clinic import NOW

SignedIn = Callable[..., tuple[Client, User]]


FINDING = {
    "kind": "injury:tension_injury",
    "advice": "dry dressing",
    "told_whom": ["doctor", "parent"],
    "told": "Dr Who",
}


def call(tape: Application, reason: str = "call_back", **fields: object) -> CallItem:
    item: CallItem = CallItemFactory(application=tape, reason=reason, **fields)
    return item


def work(client: Client, item: CallItem, **data: str) -> int:
    status = client.post(f"/calls/{item.pk}/", data).status_code
    item.refresh_from_db()
    return status


@pytest.fixture
def report(tape: Application) -> SkinReport:
    """A blister reported through the patient's link, with its call."""
    made, _ = answer_skin(now=NOW, application=tape, signs=["blister"], words="a bubble")
    return made


def test_speaking_closes_what_a_conversation_settles(signed_in: SignedIn, tape: Application) -> None:
    client, user = signed_in("desk")
    item = call(tape)
    assert work(client, item, what="spoke") == 302
    assert (item.closed_at, item.closed_by, item.closed_how) == (NOW, user, "spoke")
    assert Event.objects.get(verb="call.spoke").patient == tape.patient


@pytest.mark.parametrize(
    ("again", "at"),
    [
        ("15m", NOW + timedelta(minutes=15)),
        ("1h", NOW + timedelta(hours=1)),
        ("3h", NOW + timedelta(hours=3)),
        ("tomorrow", datetime(2027, 3, 11, 14, 0, tzinfo=UTC)),
        ("", NOW + timedelta(hours=1)),
    ],
)
def test_no_answer_keeps_it_for_later(signed_in: SignedIn, tape: Application, again: str, at: datetime) -> None:
    client, _ = signed_in("desk")
    item = call(tape)
    work(client, item, what="no_answer", again=again)
    assert (item.closed_at, item.try_again_at, item.tries) == (None, at, 1)


def test_notes_are_added_and_none_is_lost(signed_in: SignedIn, tape: Application) -> None:
    client, _ = signed_in("desk")
    item = call(tape)
    work(client, item, what="no_answer", note="mailbox")
    work(client, item, what="spoke", note="will come at five")
    assert item.note == "mailbox\nwill come at five"


def test_sorting_out_without_a_note_is_refused_beside_the_field(signed_in: SignedIn, tape: Application) -> None:
    client, _ = signed_in("desk")
    item = call(tape)
    response = client.post(f"/calls/{item.pk}/", {"what": "sorted_out"})
    page = response.content.decode()
    item.refresh_from_db()
    assert (response.status_code, item.closed_at) == (422, None)
    assert "Write in the note how it was sorted out." in page
    assert page.partition("<title>")[2].startswith("Error: ")


def test_sorting_out_with_a_note_closes(signed_in: SignedIn, tape: Application) -> None:
    client, _ = signed_in("desk")
    item = call(tape)
    work(client, item, what="sorted_out", note="new number")
    assert (item.closed_how, item.note) == ("sorted_out", "new number")


def test_a_note_that_is_too_long_is_kept_on_the_page(signed_in: SignedIn, tape: Application) -> None:
    client, _ = signed_in("desk")
    item = call(tape)
    page = client.post(f"/calls/{item.pk}/", {"what": "spoke", "note": "n" * 501}).content.decode()
    item.refresh_from_db()
    assert "n" * 501 in page
    assert item.closed_at is None


def test_handing_over_gives_it_to_the_therapist_who_taped(signed_in: SignedIn, tape: Application) -> None:
    client, _ = signed_in("desk")
    item = call(tape, "skin_report")
    work(client, item, what="hand_over")
    assert (item.owner, item.closed_at) == (tape.therapist, None)


@pytest.mark.parametrize("what", ["sorted_out", "is_off", "", "delete"])
@pytest.mark.parametrize("role", ["desk", "therapist"])
def test_a_skin_report_is_closed_by_no_call(signed_in: SignedIn, tape: Application, what: str, role: str) -> None:
    client, _ = signed_in(role)
    item = call(tape, "skin_report")
    assert work(client, item, what=what, note="fine") == 422
    assert item.closed_at is None


def test_a_therapist_who_spoke_has_not_closed_a_skin_report(signed_in: SignedIn, tape: Application) -> None:
    client, _ = signed_in()
    item = call(tape, "skin_report")
    work(client, item, what="spoke")
    assert item.closed_at is None


def test_overdue_tape_that_is_off_is_recorded_on_the_telephone(signed_in: SignedIn, tape: Application) -> None:
    client, _ = signed_in("desk")
    Application.objects.update(applied_at=NOW - timedelta(days=7))
    item = call(tape, "overdue")
    work(client, item, what="is_off", off_on="2027-03-08", note="came off in bed")
    tape.refresh_from_db()
    assert tape.ended_at == datetime(2027, 3, 8, 17, 0, tzinfo=UTC)  # noon in New York
    assert (tape.ended_by, tape.ending_note) == ("patient, by telephone", "came off in bed")
    assert (item.closed_at, item.closed_how) == (NOW, "the tape is off")


@pytest.mark.parametrize(
    ("off_on", "ended_at"),
    [
        ("", NOW),
        ("2027-03-10", NOW),
        ("2027-03-11", NOW),
        ("2027-03-01", NOW - timedelta(days=7)),
    ],
)
def test_the_day_it_came_off_lies_between_taping_and_now(
    signed_in: SignedIn, tape: Application, off_on: str, ended_at: datetime
) -> None:
    client, _ = signed_in("desk")
    Application.objects.update(applied_at=NOW - timedelta(days=7))
    work(client, call(tape, "overdue"), what="is_off", off_on=off_on)
    tape.refresh_from_db()
    assert tape.ended_at == ended_at


def test_speaking_about_overdue_tape_leaves_it_on_the_list_for_tomorrow(signed_in: SignedIn, tape: Application) -> None:
    client, _ = signed_in("desk")
    item = call(tape, "overdue")
    work(client, item, what="spoke")
    assert (item.closed_at, item.try_again_at) == (None, datetime(2027, 3, 11, 14, 0, tzinfo=UTC))


def test_two_people_ending_one_call_keep_the_first(signed_in: SignedIn, tape: Application) -> None:
    client, _ = signed_in("desk")
    item = call(tape)
    work(client, item, what="spoke", note="first")
    assert work(client, item, what="sorted_out", note="second") == 302
    assert (item.closed_how, item.note) == ("spoke", "first")


def test_the_script_gives_the_clinics_emergency_number(signed_in: SignedIn, tape: Application) -> None:
    client, _ = signed_in("desk")
    assert "hang up and call 911" in client.get(f"/calls/{call(tape, 'skin_report').pk}/").content.decode()


def test_a_therapist_reads_the_report_and_what_was_said_at_once(signed_in: SignedIn, report: SkinReport) -> None:
    client, _ = signed_in()
    page = client.get(f"/reports/{report.pk}/").content.decode()
    assert "a bubble" in page
    assert "A blister. <span" in page
    assert "There is a blister" not in page
    assert "Over the sore skin: no oil and no pulling." in page


def test_a_finding_closes_the_report_and_its_call(signed_in: SignedIn, report: SkinReport) -> None:
    client, user = signed_in()
    assert client.post(f"/reports/{report.pk}/", FINDING).status_code == 302
    report.refresh_from_db()
    assert (report.kind, report.grade, report.graded_by, report.graded_at) == ("injury", "tension_injury", user, NOW)
    assert (report.advised, report.told, report.told_whom, report.closed_at) == (
        "dry dressing",
        "Dr Who",
        ["doctor", "parent"],
        NOW,
    )
    assert CallItem.objects.get().closed_how == "seen by a therapist"
    assert "Blister or wound where the tape pulled" in client.get(f"/reports/{report.pk}/").content.decode()


def test_what_was_said_at_once_stays_beside_the_therapists_advice(signed_in: SignedIn, report: SkinReport) -> None:
    client, _ = signed_in()
    client.post(f"/reports/{report.pk}/", FINDING)
    page = client.get(f"/reports/{report.pk}/").content.decode()
    assert "Over the sore skin: no oil and no pulling." in page
    assert "dry dressing" in page
    assert "the doctor, a parent or guardian: <bdi>Dr Who</bdi>" in page


def test_a_finding_can_be_kept_open_with_a_day_to_look_again(signed_in: SignedIn, report: SkinReport) -> None:
    client, _ = signed_in()
    kept = client.post(f"/reports/{report.pk}/", {**FINDING, "do": "keep", "follow_up_on": "2027-03-12"})
    report.refresh_from_db()
    assert kept["Location"] == f"/reports/{report.pk}/"
    assert (report.kind, report.follow_up_on, report.closed_at) == ("injury", date(2027, 3, 12), None)
    assert CallItem.objects.get().closed_at is None
    page = client.get(f"/reports/{report.pk}/").content.decode()
    assert "<strong>No new tape there</strong>" in page
    assert f'href="/visits/book/?patient={report.patient_id}&amp;purpose=follow_up&amp;day=2027-03-12"' in page
    # what was found is offered again, so that closing it later asks for nothing twice
    assert re.findall(r'name="kind" value="([^"]+)"[^>]* checked', page) == ["injury:tension_injury"]


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        ({"told_whom": []}, "told_whom", "Say who was told; “nobody” is an answer."),
        ({"told_whom": ["doctor", "nobody"]}, "told_whom", "leave one of them out"),
        ({"told_whom": ["mayor"]}, "told_whom", "Select a valid choice"),
        ({"follow_up_on": "2027-03-09"}, "follow_up_on", "That day is past."),
        ({"follow_up_on": "12.3."}, "follow_up_on", "Write the date with year, month and day"),
        ({"kind": "injury:joy"}, "kind", "Select a valid choice"),
    ],
)
def test_a_finding_that_cannot_be_is_refused_beside_its_field(
    signed_in: SignedIn, report: SkinReport, change: dict[str, object], field: str, words: str
) -> None:
    client, _ = signed_in()
    response = client.post(f"/reports/{report.pk}/", {**FINDING, **change})
    form = response.context["form"]
    assert (response.status_code, list(form.errors)) == (422, [field])
    assert words in str(form.errors[field])
    report.refresh_from_db()
    assert (report.kind, report.closed_at) == ("", None)


def test_a_student_cannot_write_a_finding_either(signed_in: SignedIn, report: SkinReport) -> None:
    client, _ = signed_in("student")
    assert client.post(f"/reports/{report.pk}/", {**FINDING, "do": "keep"}).status_code == 422
    report.refresh_from_db()
    assert (report.kind, report.graded_by) == ("", None)


def test_a_torn_skin_with_no_loss_does_not_read_like_an_all_clear(signed_in: SignedIn, report: SkinReport) -> None:
    client, _ = signed_in()
    page = client.get(f"/reports/{report.pk}/").content.decode()
    assert "The skin tore. No skin is lost: the flap covers the whole bed" in page


def test_a_finding_is_never_chosen_beforehand_and_must_be_made(signed_in: SignedIn, report: SkinReport) -> None:
    client, _ = signed_in()
    assert " checked" not in client.get(f"/reports/{report.pk}/").content.decode()
    response = client.post(f"/reports/{report.pk}/", {"advice": "kept words"})
    page = response.content.decode()
    assert response.status_code == 422
    assert page.count("Say what was found on the skin.") == 2
    assert "kept words" in page


def test_a_student_reads_a_report_and_cannot_close_it(signed_in: SignedIn, report: SkinReport) -> None:
    client, _ = signed_in("student")
    assert "A therapist closes this report" in client.get(f"/reports/{report.pk}/").content.decode()
    response = client.post(f"/reports/{report.pk}/", {"kind": "no_change"})
    report.refresh_from_db()
    assert (response.status_code, report.closed_at) == (422, None)


def test_an_owner_is_shown(signed_in: SignedIn, tape: Application) -> None:
    client, _ = signed_in("desk")
    owner = UserFactory(full_name="Otto Owner")
    assert "Otto Owner" in client.get(f"/calls/{call(tape, owner=owner).pk}/").content.decode()


def test_a_call_closed_at_the_wrong_name_is_put_back_from_where_today_says_so(
    signed_in: SignedIn, tape: Application
) -> None:
    client, _ = signed_in("desk")
    item = call(tape, words="May I cut it off?")
    today = client.post(f"/calls/{item.pk}/", {"what": "spoke"}, follow=True).content.decode()
    assert f'<a href="/calls/{item.pk}/">Look at it, or put it back on the list</a>' in today
    page = client.get(f"/calls/{item.pk}/").content.decode()
    assert "Put it back on the call list" in page
    assert "May I cut it off?" in page
    work(client, item, open_again="yes")
    assert item.closed_at is None
