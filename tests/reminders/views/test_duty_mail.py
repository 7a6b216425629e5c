"""A mail to the duty address that did not go out is said where the reaction is: on the call list, until it went."""

import re
from collections.abc import Callable
from datetime import datetime, timedelta

import pytest
import time_machine
from django.test import Client

from clinic.models import Clinic, User
from reminders.models import Message
from reminders.services import reconciling
from reminders.services.answers import answer_skin
from taping.models import Application
from tests.factories import ApplicationFactory, MessageFactory
from tests.factories.clinic import NOW
from tests.reminders.services.conftest import Ways, refused, silence

pytestmark = pytest.mark.django_db

SignedIn = Callable[..., tuple[Client, User]]
Text = Callable[[str], str]

NIGHT = NOW + timedelta(hours=11)  # 21:00 in New York
NOT_OUT = "The mail to the duty address did not go out. Ring whoever is on duty."
NOT_KNOWN = "Nobody knows whether the mail to the duty address arrived. Ring whoever is on duty."
MINUTE = timedelta(minutes=1)


@pytest.fixture
def ways(clinic: Clinic) -> Ways:
    reconciling._told.clear()
    return Ways()


def words(page: str) -> str:
    return " ".join(re.sub("<[^>]+>", "", page).split())


def reported(tape: Application, state: str) -> None:
    """A report about tape, with a mail in that state."""
    report, _ = answer_skin(now=NOW, application=tape, signs=["blister"], words=state)
    MessageFactory(application=tape, subject=f"report:{report.pk}", kind="duty_report", state=state)


@pytest.mark.parametrize("role", ["desk", "therapist", "student", "manager"])
@pytest.mark.parametrize(
    ("state", "said"),
    [("failed", NOT_OUT), ("missed", NOT_OUT), ("uncertain", NOT_KNOWN), ("planned", ""), ("sent", "")],
)
def test_it_is_said_beside_its_own_report_alone(
    signed_in: SignedIn, tape: Application, text_of: Text, role: str, state: str, said: str
) -> None:
    """The same tape's other report, whose mail went, has a call of its own that says nothing."""
    client, _ = signed_in(role)
    for one in ("sent", state):
        reported(tape, one)
    page = text_of("/")
    assert page.count("the duty address") == (1 if said else 0)
    assert said in words(page)
    live = client.get("/live/", headers={"HX-Request": "true"}).content.decode()
    assert live.count("the duty address") == (1 if said else 0)


def test_from_the_reaction_at_night_to_the_mail_that_went(
    signed_in: SignedIn, tape: Application, text_of: Text, ways: Ways, frozen: time_machine.Traveller
) -> None:
    """Refused at night, it is said until somebody has corrected the address and sent it again."""
    client, _ = signed_in("desk")
    frozen.move_to(NIGHT)
    answer_skin(now=NIGHT, application=tape, signs=["blister"], words="it burns")
    assert "duty address" not in text_of("/")
    ways.email.answers = [refused(550)]
    ways.run(NIGHT)
    assert NOT_OUT in words(text_of("/"))
    mail = Message.objects.get(kind="duty_report")
    needs = text_of(re.findall(r'href="([^"]+kind=duty_report)"', text_of("/"))[0].replace("&amp;", "&"))
    assert re.findall(r'id="message-(\d+)"', needs) == [str(mail.pk)]
    client.post(f"/messages/{mail.pk}/again/")
    assert "duty address" not in text_of("/")
    ways.run(NIGHT + MINUTE)
    mail.refresh_from_db()
    assert (mail.state, [one.to for one in ways.email.sent]) == ("sent", ["duty@example.org"])
    assert "duty address" not in text_of("/")


def test_silence_is_said_until_a_person_has_dealt_with_it(
    signed_in: SignedIn, tape: Application, text_of: Text, ways: Ways
) -> None:
    signed_in("desk")
    answer_skin(now=NIGHT, application=tape, signs=["blister"], words="it burns")
    ways.email.answers = [silence(handed_over=True)] * 2
    for minutes in range(5):
        ways.run(NIGHT + minutes * MINUTE)
        assert NOT_KNOWN in words(text_of("/"))
    assert len(ways.email.tried) == 2


def test_a_corrected_duty_address_gets_the_mail_that_was_refused(
    signed_in: SignedIn, tape: Application, ways: Ways
) -> None:
    client, _ = signed_in("manager")
    answer_skin(now=NIGHT, application=tape, signs=["blister"], words="it burns")
    ways.email.answers = [refused(550)]
    ways.run(NIGHT)
    Clinic.objects.update(duty_address="duty.new@example.org")
    with time_machine.travel(NIGHT + MINUTE, tick=False):
        client.post(f"/messages/{Message.objects.get(kind='duty_report').pk}/again/")
        ways.run(NIGHT + MINUTE)
    assert [one.to for one in ways.email.sent] == ["duty.new@example.org"]


def test_without_a_duty_address_it_is_not_sent_again_and_says_what_to_do(
    signed_in: SignedIn, tape: Application, ways: Ways
) -> None:
    client, _ = signed_in("manager")
    reported(tape, "failed")
    Clinic.objects.update(duty_address="")
    mail = Message.objects.get(kind="duty_report")
    page = client.post(f"/messages/{mail.pk}/again/", follow=True).content.decode()
    assert "The clinic has no duty address any more: ring whoever is on duty." in page
    mail.refresh_from_db()
    assert mail.state == "failed"


def test_it_costs_no_query(signed_in: SignedIn, tape: Application, queries_of: Callable[[str], int]) -> None:
    signed_in("therapist")
    reported(tape, "sent")
    few = queries_of("/")
    for state in ("failed", "uncertain", "missed"):
        reported(ApplicationFactory(), state)
    assert queries_of("/") == few


def test_the_call_s_own_page_says_it_too(signed_in: SignedIn, tape: Application, text_of: Text) -> None:
    signed_in("desk")
    reported(tape, "failed")
    item = tape.call_items.get()
    assert NOT_OUT in words(text_of(f"/calls/{item.pk}/"))


def test_the_mail_of_a_report_that_is_settled_calls_nobody(
    signed_in: SignedIn, tape: Application, text_of: Text, now: datetime
) -> None:
    signed_in("desk")
    reported(tape, "failed")
    tape.call_items.update(closed_at=now)
    assert "duty address" not in text_of("/")
