"""manage.py demo: the invented clinic, from one command."""

import os
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.utils import timezone

from clinic.management.one_line import refuse
from reminders.demo.loading import Holds, database_holds, demo_load, patient_link
from reminders.demo.reading import Fixtures, fixtures_read
from reminders.management.serving_command import ServingCommand
from reminders.services.ways_out import FOLDER


class Command(ServingCommand):
    help = "Load an invented clinic dated around today, print its log-ins, and serve it. Nothing is sent to anybody."

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("--no-serve", action="store_true", help="load only")

    def handle(self, *args: Any, **options: Any) -> None:
        port = options["port"]
        self.refuse_port(port)
        _refuse_the_world()
        settings.MANAGERS_NEED_CODE = False
        if port and "PUBLIC_ADDRESS" not in os.environ:
            # The links in the messages must lead to this run, whatever port it took.
            settings.PUBLIC_ADDRESS = f"http://127.0.0.1:{port}"
        fixtures = fixtures_read()
        self._load(fixtures)
        self.say("Log in as one of these:")
        for row in fixtures.staff:
            roles = ", ".join(role.replace("_", " ") for role in row["roles"])
            self.say(f"  {row['username']:<8} password: {row['password']:<24} {row['full_name']}, {roles}")
        if link := patient_link():
            self.say(f"The page of a patient, which needs no log-in: {link}")
        if not options["no_serve"]:
            self.serve(host="127.0.0.1", port=port, where=f"port {port}")

    def _load(self, fixtures: Fixtures) -> None:
        found = database_holds()
        if found is Holds.OTHER:
            raise refuse(
                "This database holds something other than the demo. Set DATABASE_URL or DATA_FOLDER elsewhere."
            )
        call_command("migrate", interactive=False, verbosity=0)
        if found is Holds.DEMO:
            self.say("This is the demo that was made before.")
            return
        self.say("Making the invented clinic …")
        demo_load(fixtures, timezone.now())


def _refuse_the_world() -> None:
    """Passwords that everybody can read, and messages for people who do not exist, stay on this machine."""
    if settings.PUBLIC:
        raise refuse("The demo's passwords are known to everybody: it does not run with PUBLIC=true.")
    for name in ("EMAIL_URL", "SMS_GATEWAY_URL"):
        if not str(getattr(settings, name)).startswith(FOLDER):
            raise refuse(f"{name} is set, and the demo's people do not exist: run it without {name}.")
