"""The server of a measurement: a clinic of its own with one strip plan, said in one line of JSON, then served."""

import json
import sys

import django


def _say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def main() -> None:
    django.setup()
    from django.conf import settings
    from django.core.management import call_command
    from django.urls import resolve, reverse

    from clinic.models import Clinic
    from reminders.bench import plan
    from reminders.serving import serve

    call_command("migrate", interactive=False, verbosity=0)
    Clinic.objects.create(emergency_number="911", telephone="(212) 555-0100")
    cut, client = plan.plan_begin()
    name = settings.SESSION_COOKIE_NAME
    page = reverse("plan_page", kwargs=resolve(cut).kwargs)
    _say(json.dumps({"page": page, "cut": cut, "cookie": name, "session": client.cookies[name].value}))
    serve(host="127.0.0.1", port=0, say=_say, with_ticker=False)


if __name__ == "__main__":
    main()
