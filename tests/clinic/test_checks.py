"""A public run refuses what would be unsafe, each fault by its own name."""

from types import SimpleNamespace
from typing import Any

import pytest
from django.core.exceptions import ImproperlyConfigured
from pytest_django import Settings

from clinic.checks import public_run, refuse_unsafe
from clinic.environment import Surroundings

SAFE: dict[str, Any] = {
    "PUBLIC": True,
    "DEBUG": False,
    "SECRET_KEY": "s" * 50,
    "LINK_KEY": "l" * 50,
    "HOOK_KEY": "",
    "PUBLIC_ADDRESS": "https://tape.example.org",
    "ALLOWED_HOSTS": ["tape.example.org"],
    "PRIVATE_NETWORK": False,
    "REDIS_URL": "",
}


def _at(monkeypatch: pytest.MonkeyPatch, database: str) -> None:
    """As if the database were the one that this address names."""
    found = Surroundings({"DATABASE_URL": database}).database("DATABASE_URL", default="")
    monkeypatch.setattr("clinic.checks.connection", SimpleNamespace(settings_dict=found))


def _set(settings: Settings, **changes: object) -> None:
    for name, value in {**SAFE, **changes}.items():
        setattr(settings, name, value)


def test_a_safe_public_run_is_let_through(settings: Settings) -> None:
    _set(settings)
    assert public_run(None) == []
    refuse_unsafe()


@pytest.mark.parametrize(
    ("number", "changes"),
    [
        ("E001", {"DEBUG": True}),
        ("E002", {"SECRET_KEY": "unset"}),
        ("E002", {"SECRET_KEY": "s" * 31}),
        ("E003", {"LINK_KEY": ""}),
        ("E003", {"LINK_KEY": "l" * 31}),
        ("E003", {"LINK_KEY": "s" * 50}),
        ("E004", {"PUBLIC_ADDRESS": ""}),
        ("E004", {"PUBLIC_ADDRESS": "http://tape.example.org"}),
        ("E005", {"ALLOWED_HOSTS": ["*"]}),
        ("E007", {"HOOK_KEY": "h" * 31}),
        ("E007", {"HOOK_KEY": "s" * 50}),
        ("E007", {"HOOK_KEY": "l" * 50}),
        ("E011", {"REDIS_URL": "redis://:key@redis.example.org:6379/0"}),
        ("E011", {"REDIS_URL": "redis://[2001:db8::7]:6379/0"}),
    ],
)
def test_each_unsafe_setting_is_refused_by_name(settings: Settings, number: str, changes: dict[str, object]) -> None:
    _set(settings, **changes)
    assert [message.id for message in public_run(None)] == [f"wearwindow.{number}"]
    with pytest.raises(ImproperlyConfigured, match=f"wearwindow.{number}: .* "):
        refuse_unsafe()


@pytest.mark.parametrize(
    "address",
    [
        "postgres://clinic@db.example.org:5432/clinic",
        "postgres://clinic@192.0.2.7:5432/clinic?sslmode=prefer",
        "postgres://clinic@/clinic?host=db.example.org",
    ],
)
def test_a_database_elsewhere_in_the_clear_is_refused(
    settings: Settings, monkeypatch: pytest.MonkeyPatch, address: str
) -> None:
    _set(settings)
    _at(monkeypatch, address)
    assert [message.id for message in public_run(None)] == ["wearwindow.E010"]
    with pytest.raises(ImproperlyConfigured, match=r"wearwindow.E010: .* Add \?sslmode=verify-full to DATABASE_URL"):
        refuse_unsafe()
    settings.PRIVATE_NETWORK = True
    assert public_run(None) == []


@pytest.mark.parametrize(
    "address",
    [
        "sqlite:////srv/clinic.sqlite3",
        "postgres://clinic@127.0.0.1:5432/clinic",
        "postgres://clinic@localhost/clinic",
        "postgres:////run/postgresql/clinic",
        "postgres://clinic@db.example.org/clinic?sslmode=verify-full",
        "postgres://clinic@db.example.org/clinic?sslmode=require",
    ],
)
def test_a_database_of_this_machine_or_an_encrypted_one_is_let_through(
    settings: Settings, monkeypatch: pytest.MonkeyPatch, address: str
) -> None:
    _set(settings)
    _at(monkeypatch, address)
    assert public_run(None) == []


@pytest.mark.parametrize(
    "changes",
    [
        {"REDIS_URL": "redis://127.0.0.1:6379/0"},
        {"REDIS_URL": "redis://[::1]:6379/0"},
        {"REDIS_URL": "unix:///run/redis/redis.sock"},
        {"REDIS_URL": "rediss://redis.example.org:6379/0"},
        {"REDIS_URL": "redis://redis:6379/0", "PRIVATE_NETWORK": True},
    ],
)
def test_a_redis_of_this_machine_or_an_encrypted_one_is_let_through(
    settings: Settings, changes: dict[str, object]
) -> None:
    _set(settings, **changes)
    assert public_run(None) == []


def test_the_mode_of_the_address_reaches_the_database_driver() -> None:
    address = "postgres://clinic@db.example.org/clinic?sslmode=verify-full&sslrootcert=/run/ca.pem"
    found = Surroundings({"DATABASE_URL": address}).database("DATABASE_URL", default="")
    assert found["OPTIONS"] == {"sslmode": "verify-full", "sslrootcert": "/run/ca.pem"}


def test_a_run_on_this_machine_alone_asks_for_nothing(settings: Settings) -> None:
    _set(settings, PUBLIC=False, DEBUG=True, SECRET_KEY="short", LINK_KEY="", PUBLIC_ADDRESS="")
    assert public_run(None) == []
