"""One pass of the engine: what the ticker, the Celery task and the command all call."""

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from reminders.services.batches import batch_read
from reminders.services.call_tick import call_list_tick
from reminders.services.delivery import Clock, Courier, Tally
from reminders.services.queueing import claim, release, sweep
from reminders.services.reconciling import reconcile
from reminders.services.ways_out import transports_from_settings
from reminders.transports import Transport

LIMIT_SECONDS = 30.0


@dataclass(slots=True)
class RunReport:
    """What one pass did: subjects planned, messages by what became of them, calls opened, and whether it drained."""

    planned: int = 0
    tally: Tally = field(default_factory=Tally)
    calls: int = 0
    drained: bool = False


def run_due(
    clock: Clock,
    *,
    transports: Mapping[str, Transport] | None = None,
    limit_seconds: float = LIMIT_SECONDS,
    stop: Callable[[], bool] = lambda: False,
) -> RunReport:
    """Plan what changed, send what is due, and put on the call list what a person must settle.

    clock gives the present moment, aware, and is asked again before each message. Runs until nothing is due, until
    limit_seconds have passed (elapsed, whatever is done to the clock meanwhile), or until stop says so. Any number
    of passes may run at once, on any number of hosts. Raises OperationalError where the database does not answer;
    what was not done then is done by a later pass.
    """
    begun = time.monotonic()

    def is_over() -> bool:
        return stop() or time.monotonic() - begun >= limit_seconds

    report = RunReport()
    report.planned += reconcile(clock())
    sweep(clock())
    ways_out = transports_from_settings() if transports is None else transports
    try:
        report.drained = _drain(clock, ways_out, report, is_over)
        report.calls = call_list_tick(clock())
    finally:
        for way_out in ways_out.values():
            way_out.close()
    return report


def _drain(clock: Clock, transports: Mapping[str, Transport], report: RunReport, is_over: Callable[[], bool]) -> bool:
    while not is_over():
        now = clock()
        token, ids = claim(now)
        if not ids:
            return True
        Courier(batch_read(token, ids, now), transports, clock, report.tally).run(is_over)
        release(token=token)
        report.planned += reconcile(clock())
    return False
