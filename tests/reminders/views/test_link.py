"""The patient's page: robots change nothing, strangers learn nothing, each button says what happened."""

import re
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from urllib.parse import quote
from uuid import uuid4

import pytest
import time_machine
from django.contrib.staticfiles import finders
from django.test import Client

from clinic.models import Clinic, Event, OnceKey
from clinic.services.events import Actor
from reminders.models import CallItem, Link
from reminders.services.links import link_revoke, link_token, links_keep
from taping.models import Application, SkinReport
from tests.factories import ApplicationFactory, HelperFactory, VisitFactory

ACTIONS = ("off", "came-off", "skin", "call", "undo")
ROBOTS = (
    "ChatPreview/2.23",
    "LinkExpanding-Robot 1.0",
    "Mozilla/5.0 (compatible; MailScanner)",
    "Prefetch/1.1",
)


def state_of(tape: Application) -> tuple[object, ...]:
    tape.refresh_from_db()
    return tape.ended_at, tape.plan_version, SkinReport.objects.count(), CallItem.objects.count(), Event.objects.count()


def test_preview_robots_change_nothing_and_the_patient_can_still_answer(
    client: Client, tape: Application, token: str, now: datetime
) -> None:
    """Robots that open links within seconds of a message: gets and heads of the page and of every action."""
    before = state_of(tape)
    for robot in ROBOTS:
        for path in (f"/t/{token}/", *(f"/t/{token}/{action}/" for action in ACTIONS)):
            assert client.get(path, HTTP_USER_AGENT=robot).status_code == 200
            assert client.head(path, HTTP_PURPOSE="prefetch", HTTP_USER_AGENT=robot).status_code == 200
    assert state_of(tape) == before

    assert client.post(f"/t/{token}/off/").status_code == 303
    tape.refresh_from_db()
    assert (tape.ended_at, tape.ended_how, tape.ended_by) == (now, "off", "patient")


@pytest.mark.parametrize("method", ["put", "patch", "delete", "options"])
def test_other_methods_change_nothing(client: Client, tape: Application, token: str, method: str) -> None:
    before = state_of(tape)
    assert getattr(client, method)(f"/t/{token}/off/").status_code == 405
    assert state_of(tape) == before


def test_every_page_is_private_and_leaks_no_address(client: Client, token: str) -> None:
    response = client.get(f"/t/{token}/")
    assert response.headers["Cache-Control"] == "no-store, private"
    assert response.headers["X-Robots-Tag"] == "noindex, nofollow"
    assert response.headers["Referrer-Policy"] in ("no-referrer", "same-origin")
    policy = response.headers["Content-Security-Policy"].split("; ")
    assert {"default-src 'self'", "script-src 'self'", "style-src 'self'", "form-action 'self'"} <= set(policy)


def test_the_page_asks_nothing_of_other_hosts(token: str, text_of: Callable[[str], str]) -> None:
    page = text_of(f"/t/{token}/")
    assert "//" not in page.replace("http-equiv", "")
    assert "<script" not in page


def test_the_token_is_in_no_title_and_only_in_the_pages_own_buttons(token: str, text_of: Callable[[str], str]) -> None:
    page = text_of(f"/t/{token}/")
    assert token not in page.partition("</title>")[0]
    files = ("paper/", "calendar.ics")
    links = sum(page.count(f'href="/t/{token}/{file}"') for file in files)
    assert (links, page.count(token)) == (len(files), page.count(f'action="/t/{token}/') + links)


def test_no_surname_and_no_date_of_birth(tape: Application, token: str, text_of: Callable[[str], str]) -> None:
    HelperFactory(patient=tape.patient, full_name="Hal Percival", call_me="Hal", gets_messages=True)
    pages = "".join(text_of(f"/t/{token}/{end}") for end in ("", "skin/"))
    assert "Ada" in pages
    for secret in ("Quillfeather", "1985", "3 April", "Percival", "5550123", tape.patient.email):
        assert secret not in pages


def test_a_patient_without_a_name_to_call_is_greeted_without_one(
    tape: Application, token: str, text_of: Callable[[str], str]
) -> None:
    tape.patient.call_me = ""
    tape.patient.save()
    assert "Hello" not in text_of(f"/t/{token}/")


def test_unknown_old_revoked_and_other_purpose_links_give_the_same_page(
    client: Client, clinic: Clinic, tape: Application, token: str, now: datetime
) -> None:
    revoked: Application = ApplicationFactory()
    links_keep(application=revoked, zone=clinic.zone)
    old_token = link_token(revoked)
    link_revoke(actor=Actor(word="test"), now=now, application=revoked)
    expired: Application = ApplicationFactory()
    links_keep(application=expired, zone=clinic.zone)
    Link.objects.filter(application=expired).update(expires_at=now)
    tried = [old_token, link_token(expired), "x", "A" * 43, "é", link_token(tape, "stop"), token[:-1], token + "A"]
    answers = [client.get(f"/t/{one}/") for one in tried] + [client.post(f"/t/{one}/off/") for one in tried]
    assert {answer.status_code for answer in answers} == {404}
    assert len({answer.content for answer in answers}) == 1
    assert clinic.telephone in answers[0].content.decode()


def test_a_link_opens_its_own_tape_only(client: Client, clinic: Clinic, tape: Application, token: str) -> None:
    other: Application = ApplicationFactory()
    links_keep(application=other, zone=clinic.zone)
    client.post(f"/t/{link_token(other)}/off/")
    tape.refresh_from_db()
    other.refresh_from_db()
    assert (tape.ended_how, other.ended_how) == ("", "off")


def test_a_link_works_until_fourteen_days_after_the_window(
    client: Client, tape: Application, token: str, frozen: time_machine.Traveller
) -> None:
    """The window closes on 15 March; its last day ends at midnight in New York, 04:00 UTC."""
    frozen.move_to("2027-03-30T03:59:59Z")
    assert client.get(f"/t/{token}/").status_code == 200
    frozen.move_to("2027-03-30T04:00:00Z")
    assert client.get(f"/t/{token}/").status_code == 404


@pytest.mark.parametrize(
    ("action", "how", "said"),
    [("off", "off", "We noted that the tape is off."), ("came-off", "came_off", "We noted that it came off early.")],
)
def test_ending_confirms_what_happened(
    client: Client, tape: Application, token: str, action: str, how: str, said: str
) -> None:
    page = client.post(f"/t/{token}/{action}/", follow=True).content.decode()
    tape.refresh_from_db()
    assert tape.ended_how == how
    assert said in page
    assert "The tape is off. Thank you." in page


def test_the_first_answer_stands(
    client: Client, tape: Application, token: str, now: datetime, frozen: time_machine.Traveller
) -> None:
    client.post(f"/t/{token}/came-off/")
    frozen.move_to(now + timedelta(hours=3))
    client.post(f"/t/{token}/off/")
    tape.refresh_from_db()
    assert (tape.ended_how, tape.ended_at) == ("came_off", now)


def test_asking_to_be_called_twice_makes_one_call_and_says_when_it_is_read(
    client: Client, tape: Application, token: str
) -> None:
    for _ in range(2):
        page = client.post(f"/t/{token}/call/", follow=True).content.decode()
    assert [item.reason for item in CallItem.objects.all()] == ["call_back"]
    assert "You asked us to call." in page
    assert "We are open now: somebody reads this today." in page


def test_on_a_closed_evening_it_says_from_when_it_is_read(
    client: Client, token: str, frozen: time_machine.Traveller
) -> None:
    """Friday 12 March, 19:00 in New York; the clinic opens again on Monday at 08:00."""
    frozen.move_to("2027-03-13T00:00:00Z")
    page = client.post(f"/t/{token}/call/", follow=True).content.decode()
    assert "Somebody reads this from Monday, 15 March, 08:00." in page


def test_the_reaction_button_asks_before_it_reports(client: Client, tape: Application, token: str) -> None:
    response = client.post(f"/t/{token}/skin/")
    assert (response.status_code, response.headers["Location"]) == (303, f"/t/{token}/skin/")
    assert "What do you notice?" in client.get(f"/t/{token}/skin/").content.decode()
    assert SkinReport.objects.count() == 0


def test_a_blister_gets_the_rules_advice_at_once_and_opens_an_urgent_call(
    client: Client, tape: Application, token: str
) -> None:
    data = {"send": "yes", "signs": ["blister"], "words": "ouch", "once": str(uuid4())}
    page = client.post(f"/t/{token}/skin/", data, follow=True).content.decode()
    item = CallItem.objects.get()
    assert (item.reason, item.urgent, item.words, item.application) == ("skin_report", True, "ouch", tape)
    assert "Over the sore skin: no oil and no pulling." in page
    assert "oil or lotion on the tape" not in page
    tape.refresh_from_db()
    assert tape.ended_at is None


def test_an_emergency_stands_first(client: Client, token: str) -> None:
    data = {"send": "yes", "signs": ["itching", "breathing"]}
    page = client.post(f"/t/{token}/skin/", data, follow=True).content.decode()
    steps = page.partition('<ol class="steps">')[2]
    assert steps.partition("</li>")[0].partition(">")[2].startswith("Call the emergency number now.")
    assert 'href="tel:911"' in steps.partition("</li>")[0]


def test_the_same_report_sent_twice_is_one(client: Client, token: str) -> None:
    data = {"send": "yes", "signs": ["itching"], "once": str(uuid4())}
    answers = [client.post(f"/t/{token}/skin/", data).status_code for _ in range(2)]
    assert answers == [303, 303]
    assert (SkinReport.objects.count(), CallItem.objects.count()) == (1, 1)


def test_no_token_is_kept_with_the_forms_key(client: Client, token: str) -> None:
    client.post(f"/t/{token}/call/", {"once": str(uuid4())})
    assert [key.result for key in OnceKey.objects.all()] == ["call"]


def test_the_skin_can_be_reported_after_the_tape_is_off(client: Client, tape: Application, token: str) -> None:
    client.post(f"/t/{token}/off/")
    page = client.post(f"/t/{token}/skin/", {"send": "yes", "signs": ["redness"]}, follow=True).content.decode()
    assert SkinReport.objects.get().minutes_after_removal == 0
    assert "Look again when the tape has been off for 30 minutes." in page
    assert "Take the tape off" not in page


@pytest.mark.parametrize(
    ("data", "said"),
    [
        ({}, "Tick what you notice, or write it in your own words below."),
        ({"signs": ["no_such_sign"]}, "Please tick from this list."),
        ({"signs": ["itching"], "words": "x" * 2001}, "That is longer than 2,000 letters."),
    ],
)
def test_a_report_that_cannot_be_kept_says_so_twice_and_keeps_what_was_typed(
    client: Client, token: str, data: dict[str, object], said: str
) -> None:
    response = client.post(f"/t/{token}/skin/", {"send": "yes", **data})
    page = response.content.decode()
    assert response.status_code == 422
    assert page.count(said) == 2
    assert page.partition("<title>")[2].startswith("Error: ")
    assert SkinReport.objects.count() == 0
    assert str(data.get("words", "")) in page


def test_what_is_ticked_stays_ticked_when_something_is_wrong(client: Client, token: str) -> None:
    data = {"send": "yes", "signs": ["itching"], "words": "x" * 2001}
    page = client.post(f"/t/{token}/skin/", data).content.decode()
    assert page.count(" checked") == 1


def test_two_thousand_letters_of_any_script_fit(client: Client, token: str) -> None:
    words = "ü" * 2000
    client.post(f"/t/{token}/skin/", {"send": "yes", "words": words})
    assert SkinReport.objects.get().words == words


def test_a_four_megabyte_comment_is_refused_without_a_report(client: Client, token: str) -> None:
    response = client.post(f"/t/{token}/skin/", {"send": "yes", "words": "x" * 4_000_000})
    assert response.status_code in (400, 413, 422)
    assert SkinReport.objects.count() == 0
    assert "Today" not in response.content.decode(), "which is for staff"


def test_a_script_in_a_name_stays_text(tape: Application, token: str, text_of: Callable[[str], str]) -> None:
    tape.patient.call_me = "<script>alert(1)</script>"
    tape.patient.save()
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in text_of(f"/t/{token}/")


def test_a_patient_whose_clinic_takes_it_off_reads_no_removal_steps(
    tape: Application, token: str, text_of: Callable[[str], str]
) -> None:
    tape.removal = "clinic"
    tape.save()
    page = text_of(f"/t/{token}/")
    assert "Please do not take it off yourself." in page
    assert "go low and slow" not in page


def test_at_home_the_removal_steps_are_there_from_the_first_day(token: str, text_of: Callable[[str], str]) -> None:
    page = text_of(f"/t/{token}/")
    assert "go low and slow" in page
    assert "Never do it in the bath or shower" in page


def test_today_is_marked_among_the_days(
    token: str, text_of: Callable[[str], str], frozen: time_machine.Traveller
) -> None:
    frozen.move_to("2027-03-14T14:00:00Z")  # the day the clocks go forward in New York
    assert 'Sunday, 14 March (today)</span><span class="what may">may come off' in text_of(f"/t/{token}/")


def test_on_the_removal_day_the_first_button_is_that_it_is_off(
    token: str, text_of: Callable[[str], str], frozen: time_machine.Traveller
) -> None:
    frozen.move_to("2027-03-15T14:00:00Z")
    page = text_of(f"/t/{token}/")
    assert '<h1 id="first">Take the tape off today.</h1>' in page
    assert '<button class="first" aria-describedby="when-off">It is off</button>' in page


def test_a_page_that_stood_open_keeps_what_was_typed_and_shows_no_staff_page(tape: Application, token: str) -> None:
    client = Client(enforce_csrf_checks=True)
    response = client.post(f"/t/{token}/skin/", {"send": "yes", "signs": ["itching"], "words": "my own words"})
    page = response.content.decode()
    assert response.status_code == 403
    assert "Nothing was sent yet." in page
    assert 'name="words" value="my own words"' in page
    assert "Log in" not in page
    assert SkinReport.objects.count() == 0


def test_without_the_forms_token_no_button_works(tape: Application, token: str) -> None:
    client = Client(enforce_csrf_checks=True)
    assert {client.post(f"/t/{token}/{action}/").status_code for action in ACTIONS} == {403}
    tape.refresh_from_db()
    assert tape.ended_at is None


def test_a_log_in_is_neither_asked_for_nor_made(client: Client, token: str) -> None:
    response = client.get(f"/t/{token}/")
    assert "wearwindow" not in response.cookies


def test_page_and_style_together_weigh_at_most_forty_kilobytes(token: str, text_of: Callable[[str], str]) -> None:
    style = finders.find("css/link.css")
    assert isinstance(style, str)
    total = len(text_of(f"/t/{token}/").encode()) + Path(style).stat().st_size
    assert total <= 40_000


def test_an_ending_pressed_by_mistake_is_taken_back_within_ten_minutes(
    client: Client, tape: Application, token: str, now: datetime, frozen: time_machine.Traveller
) -> None:
    assert "Undo: the tape is still on" in client.post(f"/t/{token}/off/", follow=True).content.decode()
    frozen.move_to(now + timedelta(minutes=10))
    page = client.post(f"/t/{token}/undo/", {"undo": "off"}, follow=True).content.decode()
    tape.refresh_from_db()
    assert (tape.ended_at, tape.ended_how, tape.ended_by) == (None, "", "")
    assert "Undone." in page
    assert "Rest until 10:20." in page


def test_after_ten_minutes_an_ending_stands_and_the_page_says_to_call(
    client: Client, tape: Application, token: str, now: datetime, frozen: time_machine.Traveller
) -> None:
    client.post(f"/t/{token}/off/")
    frozen.move_to(now + timedelta(minutes=10, seconds=1))
    assert "Undo" not in client.get(f"/t/{token}/").content.decode()
    response = client.post(f"/t/{token}/undo/", {"undo": "off"})
    tape.refresh_from_db()
    assert (response.status_code, tape.ended_at) == (422, now)
    assert "This can no longer be undone here. Please call us." in response.content.decode()


def test_what_staff_recorded_is_not_the_patients_to_undo(client: Client, tape: Application, token: str) -> None:
    client.post(f"/t/{token}/off/")
    Application.objects.update(ending_saved_by=tape.therapist)
    assert "Undo" not in client.get(f"/t/{token}/").content.decode()
    assert client.post(f"/t/{token}/undo/", {"undo": "off"}).status_code == 422


def test_a_call_asked_for_by_mistake_is_taken_back(client: Client, token: str) -> None:
    assert "Undo: I need no call" in client.post(f"/t/{token}/call/", follow=True).content.decode()
    page = client.post(f"/t/{token}/undo/", {"undo": "call"}, follow=True).content.decode()
    assert CallItem.objects.get().closed_how == "taken back by the patient"
    assert "You asked us to call." not in page


def test_a_skin_report_is_never_taken_back(client: Client, token: str) -> None:
    page = client.post(f"/t/{token}/skin/", {"send": "yes", "signs": ["itching"]}, follow=True).content.decode()
    assert "Undo" not in page
    client.post(f"/t/{token}/undo/", {"undo": "skin"})
    assert SkinReport.objects.get().closed_at is None
    assert CallItem.objects.get().closed_at is None


def test_undoing_twice_or_nothing_changes_nothing(client: Client, tape: Application, token: str) -> None:
    before = state_of(tape)
    for what in ("off", "call", ""):
        assert client.post(f"/t/{token}/undo/", {"undo": what}).status_code == 303
    assert state_of(tape) == before


@pytest.mark.parametrize("around", ["{}.", "{})", "{}.\n", "<{}>", " {}", "“{}”"])
def test_a_mark_of_the_sentence_around_the_link_does_no_harm(client: Client, token: str, around: str) -> None:
    assert client.get(f"/t/{quote(around.format(token))}/").status_code == 200


@pytest.mark.parametrize("torn", ["/t/", "/t", "/T/{}/", "/t/{}//", "/t/{}/off/off/", "/u/"])
def test_a_torn_link_gives_the_clinics_number_and_no_log_in(
    client: Client, clinic: Clinic, token: str, torn: str
) -> None:
    response = client.get(torn.format(token))
    page = response.content.decode()
    assert (response.status_code, clinic.telephone in page, "Log in" in page) == (404, True, False)


def test_other_addresses_keep_the_clinics_own_page(client: Client, clinic: Clinic) -> None:
    assert "There is nothing at this address" in client.get("/tape/").content.decode()


@pytest.mark.parametrize("done", ["off", "came-off", "skin", "call"])
def test_an_old_page_loaded_again_thanks_for_nothing_that_is_not_so(
    token: str, text_of: Callable[[str], str], done: str
) -> None:
    assert "Thank you." not in text_of(f"/t/{token}/?done={done}")


def test_a_page_of_ended_tape_says_what_to_do_where_it_is_still_on(client: Client, token: str) -> None:
    page = client.post(f"/t/{token}/off/", follow=True).content.decode()
    assert "Is it still on after all? Please call us." in page


@pytest.mark.parametrize(("moment", "seen"), [("2027-03-13T00:00:00Z", 2), ("2027-03-12T19:00:00Z", 1)])
def test_while_closed_the_advice_itself_says_whom_to_call(
    client: Client, clinic: Clinic, token: str, frozen: time_machine.Traveller, moment: str, seen: int
) -> None:
    """Friday 12 March in New York, 19:00 and 14:00; at the foot it always stands."""
    frozen.move_to(moment)
    Clinic.objects.update(out_of_hours_advice="Call the night nurse.")
    page = client.post(f"/t/{token}/skin/", {"send": "yes", "signs": ["blister"]}, follow=True).content.decode()
    assert page.count("Call the night nurse.") == seen


def test_advice_to_somebody_without_a_name_to_call_begins_like_a_sentence(
    client: Client, tape: Application, token: str
) -> None:
    type(tape.patient).objects.update(call_me="")
    page = client.post(f"/t/{token}/skin/", {"send": "yes", "signs": ["itching"]}, follow=True).content.decode()
    assert '<p class="place">You told us about the skin' in page


def test_a_visit_booked_for_the_removal_is_what_the_page_says_too(
    tape: Application, token: str, text_of: Callable[[str], str]
) -> None:
    """Left to the patient at first, then booked: the page must not go on saying "you take it off at home"."""
    tape.removal_visit = VisitFactory(patient=tape.patient, purpose="removal")
    tape.save()
    page = text_of(f"/t/{token}/")
    assert "You take it off at home" not in page
    assert "Please do not take it off yourself." in page
    assert "How it comes off" not in page


def test_while_a_reaction_stands_no_button_asks_to_take_the_tape_off(
    client: Client, tape: Application, token: str
) -> None:
    with time_machine.travel(tape.applied_at + timedelta(days=5)):
        client.post(f"/t/{token}/skin/", {"send": "yes", "signs": ["blister"], "once": uuid4()})
        page = client.get(f"/t/{token}/").content.decode()
    assert 'class="first"' not in page
    assert "You, or somebody with you, took it off." in page


@pytest.mark.parametrize("later", [{"signs": ["itching"]}, {"words": "better"}])
def test_a_later_milder_report_takes_no_advice_back(client: Client, token: str, later: dict[str, object]) -> None:
    """The blister is still there: the page must not turn from "no pulling" to "take it off today"."""
    client.post(f"/t/{token}/skin/", {"send": "yes", "signs": ["blister"]})
    page = client.post(f"/t/{token}/skin/", {"send": "yes", **later}, follow=True).content.decode()
    assert "no oil and no pulling" in page
    assert "Do not pull over the sore place" in page


def test_a_report_in_words_stays_urgent_beside_a_mild_sign(client: Client, token: str) -> None:
    client.post(f"/t/{token}/skin/", {"send": "yes", "words": "it looks strange"})
    page = client.post(f"/t/{token}/skin/", {"send": "yes", "signs": ["itching"]}, follow=True).content.decode()
    assert "Be seen today" in page


def test_a_clinics_own_words_stand_first_and_everything_beneath_is_the_programs(
    client: Client, clinic: Clinic, token: str, now: datetime
) -> None:
    programs = client.get(f"/t/{token}/").content.decode()
    clinic.texts = {"en": {"aftercare.page.rest#1": "<b>Sit</b> until {move_from}; {telephone}."}, "de": {}}
    clinic.save()
    page = client.get(f"/t/{token}/").content.decode()
    own = "&lt;b&gt;Sit&lt;/b&gt; until 10:20; (212) 555-0100."
    assert f'<h1 id="first">{own}</h1>' in page
    changing = re.compile(r'value="[^"]{36,}"')  # tokens of the forms
    assert changing.sub("", page).replace(own, "Rest until 10:20.") == changing.sub("", programs)


def test_own_words_of_another_language_are_not_said(client: Client, clinic: Clinic, token: str) -> None:
    clinic.texts = {"de": {"aftercare.page.rest#1": "Sitzen bis {move_from}."}}
    clinic.save()
    assert '<h1 id="first">Rest until 10:20.</h1>' in client.get(f"/t/{token}/").content.decode()


def test_after_a_skin_report_no_words_of_the_clinics_come_before_what_to_do(
    client: Client, clinic: Clinic, token: str
) -> None:
    clinic.texts = {"en": {"aftercare.page.rest#1": "All is well until {move_from}."}}
    clinic.save()
    page = client.post(f"/t/{token}/skin/", {"send": "yes", "signs": ["breathing"]}, follow=True).content.decode()
    assert '<h1 id="first">Do this now</h1>' in page
    assert "All is well" not in page


def test_a_forged_host_changes_no_word_of_the_page(client: Client, token: str) -> None:
    changing = re.compile(r'value="[^"]{36,}"')
    forged = client.get(f"/t/{token}/", HTTP_X_FORWARDED_HOST="evil.example", HTTP_FORWARDED="host=evil.example")
    page = client.get(f"/t/{token}/").content.decode()
    assert changing.sub("", forged.content.decode()) == changing.sub("", page)
    assert client.get(f"/t/{token}/", headers={"Host": "evil.example"}).status_code == 400
