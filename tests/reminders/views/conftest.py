"""A tape whose patient has a link, and pages opened at the tests' moment."""

from collections.abc import Callable, Iterator
from datetime import datetime

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from clinic.models import Clinic
from reminders.services.links import link_token, links_keep
from taping.models import Application
from tests.factories import ApplicationFactory, PatientFactory


@pytest.fixture(autouse=True)
def frozen(now: datetime) -> Iterator[time_machine.Traveller]:
    """Pages read the clock; here it stands at the tests' moment."""
    with time_machine.travel(now, tick=False) as clock:
        yield clock


@pytest.fixture
def tape(clinic: Clinic) -> Application:
    """Tape on the left knee of Ada Quill, born 3 April 1985, since the tests' moment."""
    patient = PatientFactory(full_name="Ada Quillfeather", call_me="Ada", phone="+12125550123")
    application: Application = ApplicationFactory(patient=patient)
    links_keep(application=application, zone=clinic.zone)
    return application


@pytest.fixture
def token(tape: Application) -> str:
    return link_token(tape)


@pytest.fixture
def text_of(client: Client) -> Callable[[str], str]:
    """text_of(address): the page's text, which must be there."""

    def get(address: str) -> str:
        response = client.get(address)
        assert response.status_code == 200
        return response.content.decode()

    return get


@pytest.fixture
def queries_of(client: Client) -> Callable[[str], int]:
    """queries_of(address): how many queries the page takes once nothing is cached any more."""

    def count(address: str) -> int:
        with CaptureQueriesContext(connection) as queries:
            assert client.get(address).status_code == 200
        return len(queries)

    return count
