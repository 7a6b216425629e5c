"""Each state has one word, one shape and one tone of its own."""

from collections.abc import Mapping

import pytest
from django.template.loader import render_to_string

from reminders.models import CallItem, Message
from reminders.rules.kinds import MessageKind
from reminders.views import signs
from taping.models import Application
from taping.rules.wear_state import TapeState

TONES = {"good", "care", "stop", "info", "quiet"}


@pytest.mark.parametrize(
    ("table", "states"),
    [
        (signs.TAPE, list(TapeState)),
        (signs.MESSAGE, list(Message.State)),
        (signs.CALL, list(CallItem.Reason)),
    ],
)
def test_every_state_has_a_word_of_its_own(table: Mapping[str, signs.Sign], states: list[str]) -> None:
    assert set(table) == set(states)
    words = [sign.word for sign in table.values()]
    assert len(set(words)) == len(words)
    assert {sign.tone for sign in table.values()} <= TONES


@pytest.mark.parametrize("sign", [*signs.TAPE.values(), *signs.MESSAGE.values(), *signs.CALL.values(), signs.REACTION])
def test_every_shape_is_one_that_can_be_drawn(sign: signs.Sign) -> None:
    drawn = render_to_string("clinic/_shape.html", {"shape": sign.shape})
    unknown = render_to_string("clinic/_shape.html", {"shape": "no such shape"})
    assert (drawn != unknown) == (sign.shape != "ring")


def test_every_kind_of_message_has_words() -> None:
    assert set(signs.KIND) == set(MessageKind)


def test_every_ending_has_words() -> None:
    assert set(signs.ENDING) == set(Application.Ending)
