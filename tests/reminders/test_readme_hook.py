"""The README's example of the webhook, run as it stands there: bash, openssl and curl against a real server."""

import os
import re
import subprocess
from pathlib import Path

import pytest
from pytest_django import Settings
from pytest_django.live_server_helper import LiveServer

from clinic.models import Clinic, Patient
from tests.factories import PatientFactory

README = Path(__file__).resolve().parents[2] / "README.md"
KEY = "a key of the tests that is long enough to be one"


def example() -> str:
    found = re.search(r"<!-- webhook -->\n```\n(.*?)```", README.read_text(encoding="utf-8"), re.DOTALL)
    assert found
    return found.group(1)


def run(address: str, key: str) -> str:
    surroundings = {"PATH": os.environ["PATH"], "PUBLIC_ADDRESS": address, "HOOK_KEY": key}
    done = subprocess.run(
        ["bash", "-euo", "pipefail", "-c", example()],
        env=surroundings, capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


@pytest.mark.django_db(transaction=True)
def test_the_example_stops_messages_once(clinic: Clinic, live_server: LiveServer, settings: Settings) -> None:
    settings.HOOK_KEY = KEY
    patient: Patient = PatientFactory(phone="+12125550123")
    assert run(live_server.url, KEY) == '{"result": "done"} 200'
    patient.refresh_from_db()
    assert not patient.consents
    assert run(live_server.url, KEY) == '{"result": "seen before"} 200'


@pytest.mark.django_db(transaction=True)
def test_the_example_with_another_key_stops_nothing(
    clinic: Clinic, live_server: LiveServer, settings: Settings
) -> None:
    settings.HOOK_KEY = KEY
    patient: Patient = PatientFactory(phone="+12125550123")
    assert run(live_server.url, KEY + "x").endswith(" 401")
    patient.refresh_from_db()
    assert patient.consents
