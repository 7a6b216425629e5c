"""manage.py send_test: one message to yourself, to prove that mail or texts are set up right."""

from argparse import ArgumentParser
from typing import Any
from uuid import uuid4

import phonenumbers
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.utils import timezone

from clinic.management.one_line import OneLineCommand, refuse
from clinic.models.people import Channel
from clinic.selectors import clinic_get
from reminders.services.set_up import what_to_do
from reminders.services.ways_out import transports_from_settings
from reminders.transports import Outgoing, TransportError

TEXT = "This is a test from your clinic's reminders. Nothing has to be done."


class Command(OneLineCommand):
    help = "Send one test message to a mail address or a telephone number, through what is set up."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--to", required=True, help="a mail address, or a number such as +12125550123")

    def handle(self, *args: Any, **options: Any) -> None:
        channel, address = _route(options["to"].strip())
        transport = transports_from_settings()[channel]
        now = timezone.now()
        outgoing = Outgoing(
            key=uuid4(), kind="test", to=address, text=TEXT, due_at=now, at=now,
            subject="Test of the reminders", from_name=clinic_get().name,
        )  # fmt: skip
        try:
            name = transport.send(outgoing)
        except TransportError as error:
            code = "" if error.code is None else f" ({error.code})"
            raise refuse(f"Not sent: {error}{code}. {what_to_do(error)}") from error
        finally:
            transport.close()
        self.stdout.write(f"Handed over on {Channel(channel).label.lower()}; the other side's answer: {name or 'yes'}")


def _route(to: str) -> tuple[str, str]:
    if "@" in to:
        try:
            validate_email(to)
        except ValidationError as wrong:
            raise refuse("--to: that is no mail address") from wrong
        return Channel.EMAIL.value, to
    try:
        number = phonenumbers.parse(to, None)
    except phonenumbers.NumberParseException as wrong:
        raise refuse("--to: give a mail address, or a number with its country, such as +12125550123") from wrong
    if not phonenumbers.is_possible_number(number):
        raise refuse("--to: that number has too many or too few digits")
    return Channel.SMS.value, phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164)
