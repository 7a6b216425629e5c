"""Recording ways out: what was handed over, and what ordered faults do."""

from datetime import UTC, datetime
from uuid import UUID

import pytest

from reminders.rehearsal.ways import Crash, Ways
from reminders.services.outcomes import outcome_of
from reminders.transports import Outgoing, TransportError

AT = datetime(2027, 3, 10, 15, 0, tzinfo=UTC)


def _outgoing(number: int = 1) -> Outgoing:
    return Outgoing(UUID(int=number), "aftercare", "+12125550123", "text", AT, AT)


def _handed(ways: Ways) -> list[tuple[str, int]]:
    return [(one.channel, one.outgoing.key.int) for one in ways.handed]


def test_everything_is_kept_in_order_on_both_channels() -> None:
    ways = Ways()
    answers = [ways.transports[channel].send(_outgoing(number)) for number, channel in enumerate(("email", "sms"))]
    assert (answers, _handed(ways)) == (["", ""], [("email", 0), ("sms", 1)])


@pytest.mark.parametrize(
    ("reply", "code", "outcome", "handed"),
    [
        (451, 451, "retry_soon", []),
        (550, 550, "never", []),
        ("timeout", None, "uncertain", [("sms", 1)]),
    ],
)
def test_a_fault_is_what_it_is_called(
    reply: int | str, code: int | None, outcome: str, handed: list[tuple[str, int]]
) -> None:
    """4yz: try later; 5yz: never (RFC 5321, 4.2.1). Only what was refused is known not to have arrived."""
    ways = Ways()
    ways.order(channel="sms", reply=reply, times=1)
    with pytest.raises(TransportError) as met:
        ways.transports["sms"].send(_outgoing())
    assert (met.value.code, outcome_of(met.value).value, _handed(ways)) == (code, outcome, handed)


def test_a_crash_is_none_that_a_handler_of_errors_catches() -> None:
    ways = Ways()
    ways.order(channel="email", reply="crash", times=1)
    with pytest.raises(Crash):
        ways.transports["email"].send(_outgoing())
    assert (issubclass(Crash, Exception), ways.dead, _handed(ways)) == (False, True, [("email", 1)])


def test_faults_meet_the_next_attempts_of_their_channel_one_after_the_other() -> None:
    ways = Ways()
    ways.order(channel="sms", reply=451, times=2)
    ways.order(channel="sms", reply=550, times=1)
    codes = []
    for _ in range(4):
        try:
            ways.transports["sms"].send(_outgoing())
            codes.append(0)
        except TransportError as error:
            codes.append(error.code or -1)
    assert codes == [451, 451, 550, 0]
    assert ways.transports["email"].send(_outgoing(2)) == ""


def test_only_a_refused_address_is_given_up_for_good() -> None:
    ways = Ways()
    for reply in (451, 550):
        ways.order(channel="sms", reply=reply, times=1)
    refused = []
    for _ in range(2):
        with pytest.raises(TransportError) as met:
            ways.transports["sms"].send(_outgoing())
        refused.append(met.value.address_refused)
    assert refused == [False, True]
