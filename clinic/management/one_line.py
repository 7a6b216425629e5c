"""A command that answers nonsense with one clear line and exit status 2."""

import sys
from argparse import ArgumentParser
from types import MethodType
from typing import Any, NoReturn

from django.core.management.base import BaseCommand, CommandError, CommandParser


def refuse(text: str) -> CommandError:
    """To be raised: one line on standard error, exit status 2."""
    return CommandError(" ".join(text.split()), returncode=2)


def _one_line(parser: CommandParser, message: str) -> NoReturn:
    if not parser.called_from_command_line:
        raise refuse(message)
    name = (parser.prog or "").removeprefix("manage.py ")
    sys.stderr.write(f"{name}: {message}. See: manage.py help {name}\n")
    sys.exit(2)


class OneLineCommand(BaseCommand):
    """Subclass it; raise refuse("...") for whatever a person can put right."""

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> CommandParser:
        parser = super().create_parser(prog_name, subcommand, **kwargs)
        parser.error = MethodType(_one_line, parser)  # type: ignore[method-assign]
        return parser

    def add_arguments(self, parser: ArgumentParser) -> None:
        """None of its own."""
