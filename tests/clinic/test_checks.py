"""A public run refuses what would be unsafe, each fault by its own name."""

from typing import Any

import pytest
from django.core.exceptions import ImproperlyConfigured
from pytest_django import Settings

from clinic.checks import public_run, refuse_unsafe

SAFE: dict[str, Any] = {
    "PUBLIC": True,
    "DEBUG": False,
    "SECRET_KEY": "s" * 50,
    "LINK_KEY": "l" * 50,
    "HOOK_KEY": "",
    "PUBLIC_ADDRESS": "https://tape.example.org",
    "ALLOWED_HOSTS": ["tape.example.org"],
}


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
    ],
)
def test_each_unsafe_setting_is_refused_by_name(settings: Settings, number: str, changes: dict[str, object]) -> None:
    _set(settings, **changes)
    assert [message.id for message in public_run(None)] == [f"wearwindow.{number}"]
    with pytest.raises(ImproperlyConfigured, match=f"wearwindow.{number}: .* "):
        refuse_unsafe()


def test_a_run_on_this_machine_alone_asks_for_nothing(settings: Settings) -> None:
    _set(settings, PUBLIC=False, DEBUG=True, SECRET_KEY="short", LINK_KEY="", PUBLIC_ADDRESS="")
    assert public_run(None) == []
