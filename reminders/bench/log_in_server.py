"""The server of a measurement: a clinic of its own with one person at the desk, served as manage.py serve does."""

import sys

import django

NAME, PASSWORD = "dana", "a phrase that guards nothing"  # of a database that lives for minutes


def _say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def main() -> None:
    django.setup()
    from django.core.management import call_command

    from clinic.models import User
    from reminders.bench import stock
    from reminders.serving import serve

    call_command("migrate", interactive=False, verbosity=0)
    stock.clinic_make()
    User.objects.create_user(NAME, PASSWORD, full_name="Dana Desk", is_front_desk=True)
    serve(host="127.0.0.1", port=0, say=_say)


if __name__ == "__main__":
    main()
