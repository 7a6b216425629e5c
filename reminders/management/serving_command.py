"""What the commands that end in serving have in common: the port, the lines they say, the refusal of a taken port."""

from argparse import ArgumentParser

from clinic.management.one_line import OneLineCommand, refuse
from reminders.serving import serve

HIGHEST_PORT = 65535


class ServingCommand(OneLineCommand):
    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, default=8000, help="port to listen on; 0 takes a free one (8000)")

    def refuse_port(self, port: int) -> None:
        """Raises CommandError for a number that no port has."""
        if not 0 <= port <= HIGHEST_PORT:
            raise refuse(f"--port {port}: give a number from 0 to {HIGHEST_PORT}")

    def serve(self, *, host: str, port: int, where: str) -> None:
        """Serve until stopped. where names the place in the refusal of one that is taken. Raises CommandError."""
        try:
            serve(host=host, port=port, say=self.say)
        except OSError as taken:
            raise refuse(f"{where} cannot be listened on: {taken.strerror or taken}. Try --port 0") from taken

    def say(self, line: str) -> None:
        """Write line now: whoever started the program waits for it."""
        self.stdout.write(line)
        self.stdout.flush()
