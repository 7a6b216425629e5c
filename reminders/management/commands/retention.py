"""manage.py retention: what was kept as long as the clinic decided is let go, now instead of at night."""

import json
from argparse import ArgumentParser
from dataclasses import asdict
from typing import Any

from django.utils import timezone

from clinic.management.one_line import OneLineCommand
from clinic.selectors import clinic_get
from clinic.services.events import Actor
from reminders.services.retention import retention_apply, retention_due


class Command(OneLineCommand):
    help = "Erases records, words of messages and events whose period in Settings is over. The program does it nightly."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--dry-run", action="store_true", help="say what would go and change nothing")
        parser.add_argument("--json", action="store_true", dest="as_json", help="one JSON object")

    def handle(self, *args: Any, **options: Any) -> None:
        clinic, now = clinic_get(), timezone.now()
        if options["dry_run"]:
            found = retention_due(clinic, now=now)
        else:
            found = retention_apply(clinic, actor=Actor(word="command line"), now=now)
        if options["as_json"]:
            self.stdout.write(json.dumps(asdict(found)))
            return
        would = "would go" if options["dry_run"] else "went"
        self.stdout.write(
            f"{would}: {len(found.records)} records, the words of {found.messages} messages, {found.events} events"
        )
        for pk, why in found.waiting:
            self.stdout.write(f"patient {pk} waits: {why}")
