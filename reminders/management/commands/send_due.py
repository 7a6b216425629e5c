"""manage.py send_due: one pass of the engine, or one after the other."""

import time
from argparse import ArgumentParser
from typing import Any

from django.db import OperationalError, close_old_connections
from django.utils import timezone

from clinic.management.one_line import OneLineCommand, refuse
from reminders.services.pinging import ping_after
from reminders.services.running import RunReport, run_due

LONGEST_PAUSE_SECONDS = 3600


class Command(OneLineCommand):
    help = "Plan what changed and send what is due, once. For a timer, or where no ticker runs."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--loop", action="store_true", help="go on until stopped")
        parser.add_argument("--every", type=float, default=1.0, help="seconds between two passes of --loop (1)")

    def handle(self, *args: Any, **options: Any) -> None:
        pause = options["every"]
        if not 0 < pause <= LONGEST_PAUSE_SECONDS:
            raise refuse(f"--every {pause:g}: give more than 0 and at most {LONGEST_PAUSE_SECONDS} seconds")
        if not options["loop"]:
            self._tell(run_due(timezone.now))
            return
        while True:
            self._pass()
            time.sleep(pause)

    def _pass(self) -> None:
        close_old_connections()
        try:
            report = run_due(timezone.now)
            ping_after(report, timezone.now)
        except OperationalError as fault:
            # A loop outlives a database that is being restarted.
            self.stderr.write(f"The database does not answer ({type(fault).__name__}); trying again.")
            return
        if report != RunReport(drained=True):
            self._tell(report)

    def _tell(self, report: RunReport) -> None:
        tally = report.tally
        self.stdout.write(
            f"planned {report.planned}, sent {tally.sent}, said together {tally.joined}, put off {tally.put_off}, "
            f"dropped {tally.dropped}, too late {tally.missed}, not delivered {tally.failed}, "
            f"uncertain {tally.uncertain}, calls opened {report.calls}"
        )
        self.stdout.flush()
