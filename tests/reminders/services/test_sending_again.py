"""A message sent again really goes, once, with the key it had."""

from datetime import timedelta

import pytest

from clinic.models import Clinic
from clinic.services.events import Actor
from reminders.models import Message
from reminders.rules.outbox import MessageState, may_move
from reminders.services.queueing import claim
from reminders.services.sending_again import NotAgain, message_send_again
from tests.factories import MessageFactory
from tests.factories.clinic import NOW

ACTOR = Actor(word="test")


def made(**fields: object) -> Message:
    message: Message = MessageFactory(planned_for=NOW - timedelta(hours=1), **fields)
    return message


@pytest.mark.parametrize("state", ["failed", "uncertain"])
def test_it_is_taken_at_the_next_look_even_where_it_was_a_suspect(clinic: Clinic, state: str) -> None:
    message = made(state=state, claims=5, refused_on="sms", repeats=1)
    message_send_again(actor=ACTOR, now=NOW, message=message)
    assert claim(NOW)[1] == [message.pk]


def test_pressed_twice_it_goes_once(clinic: Clinic) -> None:
    message = made(state="failed")
    message_send_again(actor=ACTOR, now=NOW, message=message)
    with pytest.raises(NotAgain, match="will go"):
        message_send_again(actor=ACTOR, now=NOW, message=message)


@pytest.mark.parametrize(("minutes", "goes"), [(-1, False), (0, False), (1, True)])
def test_the_end_of_its_use_is_exclusive(clinic: Clinic, minutes: int, *, goes: bool) -> None:
    message = made(state="failed", expires_at=NOW + timedelta(minutes=minutes))
    if goes:
        message_send_again(actor=ACTOR, now=NOW, message=message)
    else:
        with pytest.raises(NotAgain, match="too late"):
            message_send_again(actor=ACTOR, now=NOW, message=message)
    message.refresh_from_db()
    assert (message.state == "planned") == goes


@pytest.mark.parametrize(("state", "repeats"), [("failed", 0), ("uncertain", 1)])
def test_what_may_have_arrived_stays_known_as_such(clinic: Clinic, state: str, repeats: int) -> None:
    message = made(state=state)
    message_send_again(actor=ACTOR, now=NOW, message=message)
    message.refresh_from_db()
    assert (message.repeats, may_move(MessageState(state), MessageState.PLANNED)) == (repeats, True)
