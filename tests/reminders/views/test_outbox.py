"""The messages page."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client

from clinic.models import Clinic, User
from reminders.models import CallItem, Message
from tests.factories import CallItemFactory, MessageFactory
from tests.factories.clinic import NOW

SignedIn = Callable[..., tuple[Client, User]]
Text = Callable[[str], str]


def shown(page: str) -> list[int]:
    return [int(part.partition('"')[0]) for part in page.split('<tr id="message-')[1:]]


def test_what_needs_a_person_comes_first_the_gravest_above(signed_in: SignedIn, clinic: Clinic, text_of: Text) -> None:
    signed_in("desk")
    keys = {state: MessageFactory(state=state).pk for state in Message.State.values}
    assert shown(text_of("/messages/")) == [keys["failed"], keys["uncertain"], keys["missed"]]


@pytest.mark.parametrize(
    ("show", "states"),
    [("next", ["planned", "claimed", "sending"]), ("went", ["sent"]), ("dropped", ["dropped"])],
)
def test_each_list_holds_its_states(
    signed_in: SignedIn, clinic: Clinic, text_of: Text, show: str, states: list[str]
) -> None:
    signed_in("desk")
    keys = {state: MessageFactory(state=state).pk for state in Message.State.values}
    assert sorted(shown(text_of(f"/messages/?show={show}"))) == sorted(keys[state] for state in states)


def test_what_goes_next_is_in_the_order_of_its_time(signed_in: SignedIn, clinic: Clinic, text_of: Text) -> None:
    signed_in("desk")
    later, sooner = (MessageFactory(planned_for=NOW + timedelta(hours=hours)).pk for hours in (5, 2))
    assert shown(text_of("/messages/?show=next")) == [sooner, later]


def test_the_stored_text_is_shown_with_its_masked_link(signed_in: SignedIn, clinic: Clinic, text_of: Text) -> None:
    signed_in("desk")
    MessageFactory(state="sent", text="Your tape comes off today: [link]")
    assert "Your tape comes off today: [link]" in text_of("/messages/?show=went")


def test_seventy_messages_make_three_pages_without_gap_or_double(
    signed_in: SignedIn, clinic: Clinic, text_of: Text
) -> None:
    signed_in("desk")
    keys = [MessageFactory(state="sent").pk for _ in range(70)]
    pages = [shown(text_of(f"/messages/?show=went&page={number}")) for number in (1, 2, 3)]
    assert [len(page) for page in pages] == [30, 30, 10]
    assert sorted(key for page in pages for key in page) == keys


@pytest.mark.parametrize(
    "query", ["show=nonsense", "page=-1", "page=x", "page=0", "show=next&page=99999999999999", "page=²"]
)
def test_a_nonsense_address_still_opens_a_page(signed_in: SignedIn, clinic: Clinic, text_of: Text, query: str) -> None:
    signed_in("desk")
    assert "<h1>Messages</h1>" in text_of(f"/messages/?{query}")


@pytest.mark.parametrize("state", ["failed", "uncertain"])
def test_sending_again_plans_it_for_now_with_the_same_key_and_closes_its_call(
    signed_in: SignedIn, clinic: Clinic, state: str
) -> None:
    client, user = signed_in("desk")
    message: Message = MessageFactory(state=state, planned_for=NOW - timedelta(hours=1), claims=3)
    key = message.key
    item: CallItem = CallItemFactory(application=message.application, message=message, reason="undelivered")
    assert client.post(f"/messages/{message.pk}/again/").status_code == 302
    message.refresh_from_db()
    item.refresh_from_db()
    assert (message.state, message.wake_at, message.key, message.claims) == ("planned", NOW, key, 0)
    assert (item.closed_at, item.closed_by) == (NOW, user)


@pytest.mark.parametrize("state", ["planned", "claimed", "sending", "sent", "dropped", "missed"])
def test_nothing_else_can_be_sent_again(signed_in: SignedIn, clinic: Clinic, state: str) -> None:
    client, _ = signed_in("desk")
    message = MessageFactory(state=state)
    page = client.post(f"/messages/{message.pk}/again/", follow=True).content.decode()
    message.refresh_from_db()
    assert message.state == state
    assert "Only one that needs a person goes again." in page


def test_a_message_that_is_of_no_use_any_more_says_to_call(signed_in: SignedIn, clinic: Clinic) -> None:
    client, _ = signed_in("desk")
    message = MessageFactory(state="failed", planned_for=NOW - timedelta(hours=4))
    assert "Send again" not in client.get("/messages/").content.decode()
    page = client.post(f"/messages/{message.pk}/again/", follow=True).content.decode()
    assert "It is too late for this message: call the patient instead." in page


def test_an_empty_list_says_why(signed_in: SignedIn, clinic: Clinic, text_of: Text) -> None:
    signed_in("desk")
    assert "Nothing needs you here." in text_of("/messages/")


@pytest.mark.parametrize("show", ["needs", "next", "went", "dropped"])
def test_one_row_and_thirty_take_the_same_few_queries(
    signed_in: SignedIn, clinic: Clinic, queries_of: Callable[[str], int], show: str
) -> None:
    signed_in("desk")
    state = {"needs": "failed", "next": "planned", "went": "sent", "dropped": "dropped"}[show]
    MessageFactory(state=state)
    few = queries_of(f"/messages/?show={show}")
    for _ in range(29):
        MessageFactory(state=state)
    assert queries_of(f"/messages/?show={show}") == few
    assert few <= 15
