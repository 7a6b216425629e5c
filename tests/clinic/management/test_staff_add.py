"""manage.py staff_add, as somebody types it."""

import pytest
from django.core.management import CommandError, call_command

from clinic.models import User
from tests.factories.clinic import PASSWORD

pytestmark = pytest.mark.django_db
ARGUMENTS = ("--username", "mina", "--full-name", "Mina Okafor")


def test_a_manager_who_treats_is_added(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setenv("STAFF_PASSWORD", PASSWORD)
    call_command("staff_add", *ARGUMENTS, "--roles", "therapist, manager")
    assert User.objects.get().roles == {"therapist", "manager"}
    assert capsys.readouterr().out == "Mina Okafor can log in as mina.\n"


@pytest.mark.parametrize(
    ("arguments", "password"),
    [
        ((*ARGUMENTS, "--roles", "boss"), PASSWORD),
        ((*ARGUMENTS, "--roles", ","), PASSWORD),
        ((*ARGUMENTS, "--roles", "manager"), "short"),
        (ARGUMENTS, PASSWORD),
        ((), PASSWORD),
    ],
)
def test_nonsense_is_one_line_and_status_2(
    monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...], password: str
) -> None:
    monkeypatch.setenv("STAFF_PASSWORD", password)
    with pytest.raises(CommandError) as refused:
        call_command("staff_add", *arguments)
    assert (refused.value.returncode, "\n" in str(refused.value), User.objects.count()) == (2, False, 0)


def test_without_a_terminal_the_password_comes_from_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("STAFF_PASSWORD", raising=False)
    monkeypatch.setattr("sys.stdin.isatty", lambda: False, raising=False)
    with pytest.raises(CommandError, match="set STAFF_PASSWORD"):
        call_command("staff_add", *ARGUMENTS, "--roles", "manager")


def type_passwords(monkeypatch: pytest.MonkeyPatch, *answers: str) -> None:
    """Sit at a terminal and type answers, one a question."""
    typed = iter(answers)
    monkeypatch.delenv("STAFF_PASSWORD", raising=False)
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("clinic.management.commands.staff_add.getpass", lambda prompt: next(typed))


def test_a_password_typed_twice_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    type_passwords(monkeypatch, PASSWORD, PASSWORD)
    call_command("staff_add", *ARGUMENTS, "--roles", "manager")
    assert User.objects.get().check_password(PASSWORD)


def test_two_passwords_that_differ_add_nobody(monkeypatch: pytest.MonkeyPatch) -> None:
    type_passwords(monkeypatch, PASSWORD, "something else entirely")
    with pytest.raises(CommandError, match="differ"):
        call_command("staff_add", *ARGUMENTS, "--roles", "manager")
    assert User.objects.count() == 0
