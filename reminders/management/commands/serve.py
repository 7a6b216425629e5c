"""manage.py serve: the clinic's pages and its messages, from one command."""

from argparse import ArgumentParser
from typing import Any

from reminders.management.serving_command import ServingCommand


class Command(ServingCommand):
    help = "Prepare the database, then serve the pages and send what is due."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--host", default="127.0.0.1", help="address to listen on (127.0.0.1)")
        super().add_arguments(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        host, port = options["host"], options["port"]
        self.refuse_port(port)
        self.serve(host=host, port=port, where=f"{host}:{port}")
