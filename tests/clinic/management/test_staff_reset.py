"""The way back in from the command line."""

from io import StringIO

import pytest
from axes.models import AccessAttempt
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from clinic.models import Clinic
from clinic.services.second_factor import factor_of
from tests.clinic.factor import factor_for
from tests.factories.clinic import PASSWORD, UserFactory

pytestmark = pytest.mark.django_db


def run(*words: str) -> str:
    out = StringIO()
    call_command("staff_reset", *words, stdout=out)
    return out.getvalue()


def test_the_only_manager_comes_back_in(client: Client, clinic: Clinic) -> None:
    manager = UserFactory(manager=True, username="max")
    factor_for(manager)
    for _ in range(9):
        client.post(reverse("log_in"), {"username": "max", "password": "not the right phrase"})
    assert AccessAttempt.objects.exists()
    said = run("--username", "MAX", "--second-factor")
    manager.refresh_from_db()
    assert manager.check_password(said.split()[4])
    assert not manager.check_password(PASSWORD)
    assert factor_of(manager) is None
    answer = client.post(reverse("log_in"), {"username": "max", "password": said.split()[4]})
    assert answer.headers["Location"] == reverse("today")


def test_the_factor_stays_unless_asked(clinic: Clinic) -> None:
    manager = UserFactory(manager=True, username="max")
    factor_for(manager)
    run("--username", "max")
    assert factor_of(manager) is not None


@pytest.mark.parametrize("name", ["nobody", "gone"])
def test_who_is_not_there_gets_one_line(name: str) -> None:
    UserFactory(username="gone", is_active=False)
    with pytest.raises(CommandError) as refused:
        run("--username", name)
    assert (refused.value.returncode, str(refused.value).count("\n")) == (2, 0)
