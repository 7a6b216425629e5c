"""manage.py staff_reset: the way back in for somebody who lost password or telephone, above all the only manager."""

from argparse import ArgumentParser
from typing import Any

from axes.utils import reset
from django.utils import timezone

from clinic.management.one_line import OneLineCommand, refuse
from clinic.models import User
from clinic.services.events import Actor
from clinic.services.second_factor import factor_of, factor_remove
from clinic.services.staff import staff_first_password


class Command(OneLineCommand):
    help = "Gives a member of staff a new first password, which is printed once, and ends a wait after wrong ones."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--username", required=True, help="the log-in name")
        parser.add_argument("--second-factor", action="store_true", help="take a lost second factor away as well")

    def handle(self, *args: Any, **options: Any) -> None:
        user = User.objects.filter(username__iexact=options["username"].strip()).first()
        if user is None:
            raise refuse(f"Nobody here logs in as {options['username']}")
        if not user.is_active:
            raise refuse(f"{user.full_name} does not work here any more: a manager can change that in the settings")
        actor, now = Actor(word="command line"), timezone.now()
        if options["second_factor"] and factor_of(user):
            factor_remove(actor=actor, now=now, user=user)
        password = staff_first_password(actor=actor, now=now, user=user)
        reset(username=user.username)
        self.stdout.write(f"{user.username} logs in with {password} and then chooses a password.")
