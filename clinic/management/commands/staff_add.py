"""manage.py staff_add: a log-in for somebody who works here."""

import os
import sys
from argparse import ArgumentParser
from getpass import getpass
from typing import Any

from django.utils import timezone

from clinic.management.one_line import OneLineCommand, refuse
from clinic.services.events import Actor
from clinic.services.staff import ROLES, StaffRefused, staff_add


class Command(OneLineCommand):
    help = "Adds a member of staff. The password is asked for, or taken from STAFF_PASSWORD."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--username", required=True, help="the log-in name")
        parser.add_argument("--full-name", required=True)
        parser.add_argument("--roles", required=True, help=f"one or more, with commas: {', '.join(ROLES)}")

    def handle(self, *args: Any, **options: Any) -> None:
        roles = [role.strip() for role in options["roles"].split(",") if role.strip()]
        try:
            user = staff_add(
                actor=Actor(word="command line"),
                now=timezone.now(),
                username=options["username"],
                full_name=options["full_name"],
                roles=roles,
                password=_password(),
            )
        except StaffRefused as refused:
            raise refuse(f"Nobody was added: {refused}") from refused
        self.stdout.write(f"{user.full_name} can log in as {user.username}.")


def _password() -> str:
    given = os.environ.get("STAFF_PASSWORD")
    if given is not None:
        return given
    if not sys.stdin.isatty():
        raise refuse("Nobody was added: set STAFF_PASSWORD, or run this where a password can be typed")
    first, second = getpass("Password: "), getpass("The same again: ")
    if first != second:
        raise refuse("Nobody was added: the two passwords differ")
    return first
