"""Plays a scenario from its first moment to its last."""

import gc
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from datetime import datetime
from functools import partial

from reminders.rehearsal.acting import act
from reminders.rehearsal.clockwork import Clockwork, Course, Happening
from reminders.rehearsal.company import REFUSALS, Company, company_make, tape_put_on, visit_put_down
from reminders.rehearsal.scenario import Outage, Scenario
from reminders.rehearsal.ways import Ways

Tell = Callable[[str], None]


def play(scenario: Scenario, *, tell: Tell, skip: bool = True, also: Iterable[Happening] = ()) -> tuple[Company, Ways]:
    """Play scenario in the database at hand, which must be empty, and return who was who and what was handed over.

    tell gets one line for each happening that the services refuse; the play goes on without it. skip=False makes
    every tick, also those at which nothing can change. also: happenings that no file can hold, such as a look at the
    rows; they come after the scenario's own of the same instant.
    """
    company = company_make(scenario.clinic, scenario.patients, scenario.starts_at)
    ways = Ways()
    outages = [(event.at, event.until) for event in scenario.events if isinstance(event, Outage)]
    course = Course(scenario.starts_at, scenario.ends_at, scenario.tick, outages)
    with _fewer_collections():
        Clockwork(course, ways, skip).run([*_happenings(scenario, company, ways, tell), *also])
    return company, ways


@contextmanager
def _fewer_collections() -> Iterator[None]:
    """A long play makes millions of objects that die at once: looking for rings among them took a tenth of its time."""
    before = gc.get_threshold()
    gc.freeze()
    gc.set_threshold(100_000, 50, 1_000)
    try:
        yield
    finally:
        gc.set_threshold(*before)
        gc.unfreeze()


def _happenings(scenario: Scenario, company: Company, ways: Ways, tell: Tell) -> Iterator[Happening]:
    """Tapes, then visits, then events: in this order where they come at the same instant."""
    for number, tape in enumerate(scenario.applications):
        put_on = partial(tape_put_on, company, tape)
        yield Happening(tape.applied_at, _told(put_on, f"applications[{number}]", tell))
    applied_at = {tape.ref: tape.applied_at for tape in scenario.applications}
    for number, visit in enumerate(scenario.visits):
        # A removal visit is booked once there is a tape to remove; any other visit stands from the beginning.
        at = max(scenario.starts_at, applied_at.get(visit.application or "", scenario.starts_at))
        yield Happening(at, _told(partial(visit_put_down, company, visit), f"visits[{number}]", tell))
    for event in scenario.events:
        yield Happening(event.at, _told(partial(act, event, company, ways), event.path, tell))


def _told(do: Callable[[datetime], None], path: str, tell: Tell) -> Callable[[datetime], None]:
    def done(now: datetime) -> None:
        try:
            do(now)
        except REFUSALS as refused:
            tell(f"{path}: {refused}")

    return done
