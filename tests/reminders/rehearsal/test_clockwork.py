"""The moving clock: which ticks there are, what comes before them, and what a dead process leaves behind."""

from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest
from django.db import connection

from clinic.models import Clinic, Patient
from reminders.rehearsal import clockwork
from reminders.rehearsal.clockwork import Clockwork, Course, Happening
from reminders.rehearsal.ways import Crash, Ways
from reminders.services.queueing import next_due
from reminders.services.running import RunReport
from reminders.transports import Outgoing
from taping.models import Application
from tests.factories import MessageFactory, StripPlanFactory

pytestmark = pytest.mark.django_db

START = datetime(2027, 3, 10, 15, 0, tzinfo=UTC)
MINUTE = timedelta(minutes=1)


@pytest.fixture
def ticks(clinic: Clinic, monkeypatch: pytest.MonkeyPatch) -> list[datetime]:
    """The moments at which the engine was asked; it does nothing but say when the next message is due."""
    asked: list[datetime] = []

    def run_due(clock: object, **kwargs: object) -> RunReport:
        assert callable(clock)
        asked.append(clock())
        return RunReport(drained=True, next_due=next_due(asked[-1]))

    monkeypatch.setattr(clockwork, "run_due", run_due)
    return asked


def _run(
    minutes: int, *happenings: Happening, outages: tuple[tuple[int, int], ...] = (), tick: int = 60, skip: bool = False
) -> None:
    ends_at = START + minutes * MINUTE
    off = [(START + begins * MINUTE, START + ends * MINUTE) for begins, ends in outages]
    Clockwork(Course(START, ends_at, timedelta(seconds=tick), off), Ways(), skip).run(happenings)


def _minutes(moments: list[datetime]) -> list[float]:
    return [(moment - START) / MINUTE for moment in moments]


def test_the_first_and_the_last_moment_tick(ticks: list[datetime]) -> None:
    _run(3)
    assert _minutes(ticks) == [0, 1, 2, 3]


def test_a_last_moment_between_two_ticks_has_none(ticks: list[datetime]) -> None:
    _run(3, tick=120)
    assert _minutes(ticks) == [0, 2]


def test_an_outage_begins_before_the_tick_of_its_instant_and_ends_before_the_last(ticks: list[datetime]) -> None:
    _run(6, outages=((1, 3), (5, 6)))
    assert _minutes(ticks) == [0, 3, 4, 6]


def test_outages_that_overlap_are_one(ticks: list[datetime]) -> None:
    _run(6, outages=((1, 3), (2, 5)), skip=True)
    assert 5 in _minutes(ticks)
    assert not {1, 2, 3, 4} & set(_minutes(ticks))


def test_happenings_come_before_the_tick_of_their_instant_in_the_order_given(ticks: list[datetime]) -> None:
    seen: list[tuple[str, int]] = []

    def happening(name: str, minutes: float) -> Happening:
        return Happening(START + minutes * MINUTE, lambda now: seen.append((name, len(ticks))))

    _run(2, happening("late", 2), happening("first", 1), happening("second", 1), happening("between", 0.5))
    assert seen == [("between", 1), ("first", 1), ("second", 1), ("late", 2)]


def test_happenings_get_their_own_moment_also_in_an_outage(ticks: list[datetime]) -> None:
    seen: list[datetime] = []
    _run(4, Happening(START + 1.5 * MINUTE, seen.append), outages=((1, 4),), skip=True)
    assert (_minutes(seen), _minutes(ticks)) == ([1.5], [0, 4])


def test_happenings_after_the_last_tick_come_and_after_the_last_moment_do_not(ticks: list[datetime]) -> None:
    seen: list[datetime] = []
    _run(3, *(Happening(START + minutes * MINUTE, seen.append) for minutes in (2.5, 3, 3.5)), tick=120)
    assert _minutes(seen) == [2.5, 3]


def test_ticks_are_passed_over_until_the_next_row_happening_or_midnight(ticks: list[datetime]) -> None:
    """Midnight in New York comes at 05:00 UTC, fourteen hours after the start."""
    MessageFactory(planned_for=START + 100.5 * MINUTE)
    _settle_all()
    _run(900, Happening(START + 7.5 * MINUTE, lambda now: None), skip=True)
    assert _minutes(ticks)[:3] == [0, 8, 101]
    assert 840 in _minutes(ticks)


def _settle_all() -> None:
    for subject in (Clinic, Patient, Application):
        subject.objects.update(plan_version=1, planned_version=1)


def test_what_is_still_to_be_planned_makes_the_next_tick_come(ticks: list[datetime]) -> None:
    """The fixture's clinic was never planned, and this engine does not plan it."""
    _run(3, skip=True)
    assert _minutes(ticks) == [0, 1, 2, 3]


@pytest.mark.parametrize(
    ("state", "values", "minutes"),
    [
        ("sending", {"lease_until": START + 5 * MINUTE}, 5),
        ("claimed", {"lease_until": START + 4.5 * MINUTE}, 5),
        ("uncertain", {"wake_at": START + 9 * MINUTE}, 9),
        ("planned", {"wake_at": START + 30 * MINUTE}, 30),
    ],
)
def test_leases_and_repeats_are_waited_for(
    ticks: list[datetime], state: str, values: dict[str, datetime], minutes: int
) -> None:
    MessageFactory(state=state, **values)
    _settle_all()
    _run(60, skip=True)
    assert _minutes(ticks)[1] == minutes


def test_closing_time_is_waited_for_while_there_is_a_draft(ticks: list[datetime]) -> None:
    """The clinic closes at 18:00 New York, seven hours after the start at 10:00 and one more."""
    StripPlanFactory()
    _settle_all()
    _run(500, skip=True)
    assert _minutes(ticks) == [0, 480]


def test_a_dead_process_writes_nothing_more(clinic: Clinic, monkeypatch: pytest.MonkeyPatch) -> None:
    """A handler of the engine that tidies up after the crash must not reach the database: a dead process has none."""

    def run_due(clock: object, *, transports: dict[str, object], **kwargs: object) -> RunReport:
        try:
            way = transports["sms"]
            way.send(_outgoing())  # type: ignore[attr-defined]
        finally:
            Clinic.objects.update(name="tidied up")
        return RunReport()

    monkeypatch.setattr(clockwork, "run_due", run_due)
    ways = Ways()
    ways.order(channel="sms", reply="crash", times=1)
    Clockwork(Course(START, START, MINUTE), ways, skip=False).run([])
    assert Clinic.objects.get().name == "Harbour Lane Clinic"


def test_the_next_process_lives(clinic: Clinic) -> None:
    ways = Ways()
    ways.order(channel="sms", reply="crash", times=1)
    with pytest.raises(Crash):
        ways.transports["sms"].send(_outgoing())
    assert ways.dead
    Clockwork(Course(START, START, MINUTE), ways).run([])
    assert not ways.dead
    assert connection.execute_wrappers == []


def _outgoing() -> Outgoing:
    return Outgoing(uuid4(), "aftercare", "+12125550123", "text", START, START)
