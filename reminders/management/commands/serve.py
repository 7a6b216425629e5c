"""manage.py serve: the clinic's pages and its messages, from one command."""

from argparse import ArgumentParser
from typing import Any

from clinic.management.one_line import OneLineCommand, refuse
from reminders.serving import serve

HIGHEST_PORT = 65535


class Command(OneLineCommand):
    help = "Prepare the database, then serve the pages and send what is due."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--host", default="127.0.0.1", help="address to listen on (127.0.0.1)")
        parser.add_argument("--port", type=int, default=8000, help="port to listen on; 0 takes a free one (8000)")

    def handle(self, *args: Any, **options: Any) -> None:
        host, port = options["host"], options["port"]
        if not 0 <= port <= HIGHEST_PORT:
            raise refuse(f"--port {port}: give a number from 0 to {HIGHEST_PORT}")
        try:
            serve(host=host, port=port, say=self._say)
        except OSError as taken:
            raise refuse(f"{host}:{port} cannot be listened on: {taken.strerror or taken}. Try --port 0") from taken

    def _say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()
