"""manage.py demo: the invented clinic, from one command."""

from argparse import ArgumentParser
from typing import Any

from django.core.management import call_command
from django.utils import timezone

from clinic.management.one_line import OneLineCommand, refuse
from reminders.demo.loading import demo_load, is_demo, is_empty
from reminders.demo.reading import Fixtures, fixtures_read
from reminders.serving import serve

HIGHEST_PORT = 65535


class Command(OneLineCommand):
    help = "Load an invented clinic dated around today, print its log-ins, and serve it. Nothing is sent to anybody."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, default=8000, help="port to listen on; 0 takes a free one (8000)")
        parser.add_argument("--no-serve", action="store_true", help="load only")

    def handle(self, *args: Any, **options: Any) -> None:
        if not 0 <= options["port"] <= HIGHEST_PORT:
            raise refuse(f"--port {options['port']}: give a number from 0 to {HIGHEST_PORT}")
        fixtures = fixtures_read()
        self._load(fixtures)
        self._say("Log in as (all with the same password):")
        for row in fixtures.staff:
            self._say(f"  {row['username']:<8} {row['password']:<24} {row['full_name']}, {', '.join(row['roles'])}")
        if options["no_serve"]:
            return
        try:
            serve(host="127.0.0.1", port=options["port"], say=self._say)
        except OSError as taken:
            raise refuse(f"port {options['port']} cannot be listened on: {taken.strerror}. Try --port 0") from taken

    def _load(self, fixtures: Fixtures) -> None:
        call_command("migrate", interactive=False, verbosity=0)
        if is_demo():
            self._say("This is the demo that was made before.")
            return
        if not is_empty():
            raise refuse(
                "This database holds a clinic that is not the demo. Set DATABASE_URL or DATA_FOLDER elsewhere."
            )
        self._say("Making the invented clinic …")
        demo_load(fixtures, timezone.now())

    def _say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()
