"""One pass of the engine: what the ticker, the Celery task and the command all call."""

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from reminders.services.batches import batch_read
from reminders.services.call_tick import call_list_tick
from reminders.services.delivery import Clock, Courier, Round, Tally, Write
from reminders.services.glance import amiss, glance, leftover, something_stale
from reminders.services.marks import mark_kept
from reminders.services.queueing import claim, next_due, sweep
from reminders.services.receipts import receipts_settle
from reminders.services.reconciling import reconcile
from reminders.services.ways_out import transports_from_settings
from reminders.transports import Transport
from taping.services.screen_drafts import drafts_drop

LIMIT_SECONDS = 30.0


@dataclass(slots=True)
class RunReport:
    """What one pass did: subjects planned, messages by what became of them, calls opened, and whether it drained.

    next_due: when the next message is to be looked at, aware; None where none waits.
    """

    planned: int = 0
    tally: Tally = field(default_factory=Tally)
    calls: int = 0
    drained: bool = False
    next_due: datetime | None = field(default=None, compare=False)


def run_due(
    clock: Clock,
    *,
    transports: Mapping[str, Transport] | None = None,
    write: Write | None = None,
    limit_seconds: float = LIMIT_SECONDS,
    stop: Callable[[], bool] = lambda: False,
) -> RunReport:
    """Plan what changed, send what is due, and put on the call list what a person must settle.

    A glance first: most passes find nothing to do and end there, after four queries.

    clock gives the present moment, aware, and is asked again before each message; write puts messages into words in
    place of the templates. Runs until nothing is due, until limit_seconds have passed (elapsed, whatever is done to
    the clock meanwhile), or until stop says so. Any number of passes may run at once, on any number of hosts. Raises
    OperationalError where the database does not answer; what was not done then is done by a later pass.
    """
    begun = time.monotonic()

    def is_over() -> bool:
        return stop() or time.monotonic() - begun >= limit_seconds

    ways_out = transports_from_settings() if transports is None else transports
    mark_kept()
    now = clock()
    seen = glance(now)
    if seen.idle:
        return RunReport(drained=True, next_due=next_due(now))
    report = RunReport()
    if seen.plan:
        report.planned += reconcile(now)
    _put_right(clock())
    if seen.calls:
        # Before anything is sent: a message that kills its worker at each pass must not keep anybody off the list.
        report.calls = call_list_tick(clock(), seen.found)
    try:
        report.drained = _drain(Round(ways_out, clock, report.tally, write), report, is_over)
        after = clock()
        # The conditions of the call list are asked as they are after this pass's own work.
        left = leftover(after, seen)
        if left.calls:
            report.calls += call_list_tick(after, left.calls)
        if left.drafts:
            drafts_drop(after)
    finally:
        for way_out in ways_out.values():
            way_out.close()
    report.next_due = next_due(now)
    return report


def _put_right(now: datetime) -> None:
    """Before anything is sent: heal and give up rows, then settle what came back of those that went."""
    wrong = amiss(now)
    if wrong.rows:
        sweep(now)
    if wrong.news:
        receipts_settle(now)


def _drain(round_: Round, report: RunReport, is_over: Callable[[], bool]) -> bool:
    while not is_over():
        now = round_.clock()
        token, ids = claim(now)
        if not ids:
            return True
        Courier(batch_read(token, ids, now), round_).run(is_over)
        if something_stale():
            report.planned += reconcile(round_.clock())
    return False
