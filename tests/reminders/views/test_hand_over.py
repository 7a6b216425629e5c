"""Handing over: the questions that are left, said back, the first message, a visit in the window."""

import re
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.utils import timezone

from clinic.models import Clinic, Patient, User, Visit
from reminders.models import Message
from reminders.services.running import run_due
from taping.models import Application
from taping.rules.removal import REMOVAL_QUESTIONS
from tests.factories import HelperFactory, MessageFactory, UserFactory, VisitFactory
from tests.factories.clinic import NOW
from tests.taping.services.test_handing_over import LEFT, OF_SCREEN

SignedIn = Callable[..., tuple[Client, User]]
Text = Callable[[str], str]


@pytest.fixture
def worn(tape: Application) -> Application:
    """The tape, who takes it off still open, the screen's answers all no."""
    Application.objects.update(removal="clinic", remover_open=True)
    tape.plan.screen.answers = dict(OF_SCREEN)
    tape.plan.screen.save()
    tape.refresh_from_db()
    return tape


@pytest.fixture
def address(worn: Application) -> str:
    return f"/applications/{worn.pk}/"


def send(client: Client, address: str, do: str = "finish", **form: Any) -> Any:
    return client.post(f"{address}hand-over/", {"do": do} | form)


def all_no(**more: str) -> dict[str, str]:
    return dict.fromkeys(LEFT, "no") | {"removal": "home", "said_back": "on"} | more


def asked(page: str) -> list[str]:
    """The removal questions that the page asks, by their names, in order."""
    keys = {question.key for question in REMOVAL_QUESTIONS}
    return list(dict.fromkeys(name for name in re.findall(r'type="radio" name="(\w+)"', page) if name in keys))


def test_only_what_the_screen_left_open_is_asked_and_the_rest_is_shown(
    signed_in: SignedIn, address: str, text_of: Text
) -> None:
    signed_in()
    page = text_of(address)
    assert asked(page) == LEFT
    assert "Answered by today's skin screen: 6 of the questions" in page.replace("&#x27;", "'")
    assert page.count("checked") == 0


def test_a_finding_of_the_screen_takes_home_off_the_choice(
    signed_in: SignedIn, worn: Application, address: str, text_of: Text
) -> None:
    signed_in()
    worn.plan.screen.answers = OF_SCREEN | {"blood_thinner": "yes"}
    worn.plan.screen.save()
    page = text_of(address)
    assert asked(page) == []
    assert "Not by the patient: bruises and bleeding come easily." in page
    assert re.findall(r'name="removal" value="(\w+)"', page) == ["helper", "clinic"]


def test_one_form_settles_hands_over_and_leads_to_today(signed_in: SignedIn, worn: Application, address: str) -> None:
    client, user = signed_in()
    answer = send(client, address, **all_no())
    worn.refresh_from_db()
    assert (answer.status_code, answer.headers["Location"]) == (302, "/")
    assert (worn.removal, worn.remover_open, worn.said_back) == ("home", False, True)
    assert (worn.handed_over_at, worn.handed_over_by) == (NOW, user)
    page = client.get(address).content.decode()
    assert f"Handed over today 10:00 by <bdi>{user.full_name}</bdi>; the patient said it back." in page
    assert "hand-form" not in page


def test_the_same_form_sent_twice_hands_over_once(
    signed_in: SignedIn, worn: Application, address: str, frozen: time_machine.Traveller
) -> None:
    client, _ = signed_in()
    send(client, address, **all_no())
    frozen.shift(5)
    assert send(client, address, **all_no()).headers["Location"] == "/"
    worn.refresh_from_db()
    assert worn.handed_over_at == NOW


@pytest.mark.parametrize("gap", ["no remover", "an answer", "said back", "helper", "helper ready"])
def test_what_is_missing_is_asked_for_and_what_was_answered_stays(
    signed_in: SignedIn, worn: Application, address: str, gap: str
) -> None:
    client, _ = signed_in()
    helper = HelperFactory(patient=worn.patient)
    forms: dict[str, tuple[dict[str, str], str]] = {
        "no remover": (all_no(removal=""), "Choose who takes the tape off."),
        "an answer": (all_no(poor_hands=""), "Answer this before it comes off at home"),
        "said back": (all_no(said_back=""), "Tick that the patient said it back, or write why not."),
        "helper": (all_no(removal="helper", helper_ready="yes"), "Choose the helper"),
        "helper ready": (all_no(removal="helper", helper=str(helper.pk)), "Answer this before a helper takes it off."),
    }
    form, words = forms[gap]
    answer = send(client, address, **{name: value for name, value in form.items() if value})
    page = answer.content.decode()
    worn.refresh_from_db()
    assert (answer.status_code, worn.handed_over_at) == (422, None)
    assert words in page.partition('class="error-summary"')[2].partition("</div>")[0]
    assert re.search(r'name="cannot_see" value="no"[^>]*checked', page)


def test_a_yes_is_refused_for_home_with_its_reason(signed_in: SignedIn, worn: Application, address: str) -> None:
    client, _ = signed_in()
    answer = send(client, address, **all_no(poor_memory="yes"))
    assert answer.status_code == 422
    assert "Not by the patient: the steps may be forgotten." in answer.content.decode()


def test_a_helper_who_cannot_reach_it_is_none(signed_in: SignedIn, worn: Application, address: str) -> None:
    client, _ = signed_in()
    helper = HelperFactory(patient=worn.patient)
    form = {"removal": "helper", "helper": str(helper.pk), "said_back": "on"}
    assert send(client, address, **form, helper_ready="no").status_code == 422
    assert send(client, address, **form, helper_ready="yes").status_code == 302
    worn.refresh_from_db()
    assert (worn.removal, worn.helper) == ("helper", helper)


def test_the_rule_says_live_what_the_answers_come_to(signed_in: SignedIn, worn: Application, address: str) -> None:
    client, _ = signed_in()
    reasons = client.post(f"{address}hand-over/reasons/", all_no(cannot_reach="yes")).content.decode()
    assert "Not by the patient: the patient cannot reach the tape." in reasons
    nothing = client.post(f"{address}hand-over/reasons/", all_no()).content.decode()
    assert "Nothing found in the answers against taking it off at home; the therapist decides." in nothing
    worn.refresh_from_db()
    assert (worn.removal, worn.remover_open) == ("clinic", True)


def test_nothing_can_be_handed_over_once_it_is_off(signed_in: SignedIn, worn: Application, address: str) -> None:
    client, _ = signed_in()
    Application.objects.update(ended_at=NOW, ended_how="off")
    assert send(client, address, **all_no()).headers["Location"] == address
    worn.refresh_from_db()
    assert worn.handed_over_at is None


def test_the_desk_reads_that_it_is_not_handed_over_yet(signed_in: SignedIn, address: str, text_of: Text) -> None:
    signed_in("desk")
    page = text_of(address)
    assert "Not handed over yet: a therapist does that." in page
    assert asked(page) == []


@pytest.mark.parametrize("settled", [False, True])
def test_one_action_stands_out(signed_in: SignedIn, address: str, text_of: Text, settled: bool) -> None:
    signed_in()
    Application.objects.update(remover_open=not settled)
    main = text_of(address).partition("<main")[2]
    assert re.findall(r'class="btn btn-main[^>]*>([^<]+)<', main) == [
        "Finish" if settled else "Record who takes it off"
    ]


def first(client: Client, address: str, state: str = "") -> Any:
    return client.get(f"{address}first-message/?state={state}", headers={"HX-Request": "true"})


def test_the_first_message_waits_for_who_takes_it_off_and_then_goes(
    signed_in: SignedIn, worn: Application, address: str, frozen: time_machine.Traveller
) -> None:
    client, _ = signed_in()
    run_due(timezone.now)
    waiting = Message.objects.get(kind="aftercare")
    assert (waiting.state, waiting.planned_for) == ("planned", NOW + timedelta(minutes=10))
    assert "waits until it is settled who takes the tape off, 10:10 at the latest" in waiting.reasons
    send(client, address, do="settle", **all_no())
    frozen.shift(30)
    run_due(timezone.now)
    waiting.refresh_from_db()
    assert waiting.state == "sent"
    assert "handed to the network today 10:00" in first(client, address, "planned").content.decode()


def test_left_open_the_first_message_goes_after_ten_minutes_and_names_the_clinic(
    worn: Application, frozen: time_machine.Traveller
) -> None:
    run_due(timezone.now)
    frozen.shift(timedelta(minutes=10))
    run_due(timezone.now)
    sent = Message.objects.get(kind="aftercare")
    assert sent.state == "sent"
    assert "at the clinic: call us for a time" in sent.text


def test_the_line_asks_again_only_while_something_is_to_come(
    signed_in: SignedIn, worn: Application, address: str, text_of: Text
) -> None:
    client, _ = signed_in()
    assert "every 5s" in text_of(address)
    message = MessageFactory(application=worn, kind="aftercare", state="planned")
    assert first(client, address, "planned").status_code == 204
    assert "every 5s" in first(client, address).content.decode()
    Message.objects.filter(pk=message.pk).update(state="failed", why="number unknown")
    line = first(client, address, "planned").content.decode()
    assert "every 5s" not in line
    assert "number unknown" in line
    assert "Let the patient scan the code" in line


def test_without_agreement_nothing_is_waited_for(signed_in: SignedIn, address: str, text_of: Text) -> None:
    signed_in()
    Patient.objects.update(consents=False)
    page = text_of(address)
    assert "every 5s" not in page
    assert "has not agreed to reminders" in page


def test_the_line_alone_is_never_the_page(signed_in: SignedIn, address: str) -> None:
    client, _ = signed_in()
    answer = client.get(f"{address}first-message/")
    assert (answer.status_code, answer.headers["Location"]) == (302, address)


def offered(page: str) -> list[str]:
    return re.findall(r'name="start" value="([^"]+)"', page)


def test_free_times_of_the_window_are_offered_and_booked_in_one_tap(
    signed_in: SignedIn, worn: Application, address: str, text_of: Text
) -> None:
    """Sunday is closed: the only day of this window is Monday, 15 March."""
    client, user = signed_in()
    page = text_of(address)
    times = offered(page)
    assert times == [f"2027-03-15T{clock}:00-04:00" for clock in ("08:00", "13:00", "17:30")]
    answer = client.post(f"{address}visit/", {"start": times[1], "therapist": user.pk})
    assert answer.headers["Location"] == f"{address}#window-visit"
    visit = Visit.objects.get()
    worn.refresh_from_db()
    assert (visit.therapist, visit.purpose, visit.starts_at) == (user, "removal", datetime.fromisoformat(times[1]))
    assert worn.removal_visit == visit
    assert offered(text_of(address)) == []


def test_where_the_patient_takes_it_off_the_visit_is_a_look(
    signed_in: SignedIn, worn: Application, address: str, text_of: Text
) -> None:
    client, user = signed_in()
    Application.objects.update(removal="home", remover_open=False)
    client.post(f"{address}visit/", {"start": offered(text_of(address))[0], "therapist": user.pk})
    worn.refresh_from_db()
    assert (Visit.objects.get().purpose, worn.removal_visit) == ("follow_up", None)
    assert "08:00" in text_of(address).partition('id="window-visit"')[2].partition("</section>")[0]


def test_a_double_tap_books_one_visit(signed_in: SignedIn, address: str, text_of: Text) -> None:
    client, user = signed_in()
    page = text_of(address)
    form = page.partition(f'action="{address}visit/"')[2]
    key = re.findall(r'name="once" value="([^"]+)"', form)[0]
    for _ in range(2):
        client.post(f"{address}visit/", {"start": offered(page)[0], "therapist": user.pk, "once": key})
    assert Visit.objects.count() == 1


@pytest.mark.parametrize(
    "start", ["", "soon", "2027-03-15T08:00", "2027-03-15T08:07:00-04:00", "2027-03-16T08:00:00-04:00", "\x00"]
)
def test_a_time_that_was_not_offered_is_not_booked(signed_in: SignedIn, address: str, start: str) -> None:
    client, user = signed_in()
    answer = client.post(f"{address}visit/", {"start": start, "therapist": user.pk}, follow=True)
    assert (answer.status_code, Visit.objects.count()) == (200, 0)
    assert "Choose" in answer.content.decode()


def test_a_time_taken_meanwhile_is_said(signed_in: SignedIn, address: str, text_of: Text) -> None:
    client, user = signed_in()
    times = offered(text_of(address))
    start = datetime.fromisoformat(times[0])
    VisitFactory(therapist=user, starts_at=start, ends_at=start + timedelta(minutes=30))
    answer = client.post(f"{address}visit/", {"start": times[0], "therapist": user.pk}, follow=True)
    assert "That time was just taken." in answer.content.decode()
    assert Visit.objects.count() == 1


@pytest.mark.parametrize("therapist", ["", "0", "abc", "9" * 30])
def test_an_unknown_therapist_books_nothing(signed_in: SignedIn, address: str, text_of: Text, therapist: str) -> None:
    client, _ = signed_in()
    client.post(f"{address}visit/", {"start": offered(text_of(address))[0], "therapist": therapist})
    assert Visit.objects.count() == 0


def test_times_are_those_of_whoever_taped_where_the_desk_looks(
    signed_in: SignedIn, worn: Application, address: str, text_of: Text, clinic: Clinic
) -> None:
    signed_in("desk")
    assert f'name="therapist" value="{worn.therapist_id}"' in text_of(address)
    User.objects.filter(pk=worn.therapist_id).update(is_active=False)
    assert offered(text_of(address)) == []
    UserFactory()
