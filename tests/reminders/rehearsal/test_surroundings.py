"""A rehearsing process knows nothing of the clinic it was started beside."""

import os

import pytest

from reminders.rehearsal.surroundings import GIVEN, MEMORY, cut_off


@pytest.fixture(autouse=True)
def environment(monkeypatch: pytest.MonkeyPatch) -> dict[str, str]:
    """A dictionary in the place of the process's environment."""
    made: dict[str, str] = {}
    monkeypatch.setattr(os, "environ", made)
    return made


def test_databases_keys_and_ways_out_are_gone(environment: dict[str, str]) -> None:
    ours = (
        "DATABASE_URL",
        "EMAIL_URL",
        "SMS_GATEWAY_URL",
        "SMS_GATEWAY_TOKEN_FILE",
        "REDIS_URL",
        "PUBLIC",
        "PGPASSWORD",
    )
    environment |= dict.fromkeys((*ours, "SECRET_KEY", "LINK_KEY", "ANYTHING"), "the clinic's")
    environment["PATH"] = "/usr/bin"
    cut_off()
    assert sorted(environment) == ["DATABASE_URL", "LINK_KEY", "LOG_LEVEL", "PATH", "SECRET_KEY"]
    assert "the clinic's" not in environment.values()
    assert environment["DATABASE_URL"] == MEMORY


def test_keys_are_new_each_time_and_differ(environment: dict[str, str]) -> None:
    keys = set()
    for _ in range(2):
        cut_off()
        keys |= {environment["SECRET_KEY"], environment["LINK_KEY"]}
    assert (len(keys), min(len(key) for key in keys) >= 32) == (4, True)


def test_what_is_given_comes_through_and_no_key_can_be_given(environment: dict[str, str]) -> None:
    environment |= {f"{GIVEN}DATABASE_URL": "sqlite:////copy", f"{GIVEN}LINK_KEY": "the clinic's"}
    cut_off()
    assert environment["DATABASE_URL"] == "sqlite:////copy"
    assert environment["LINK_KEY"] != "the clinic's"
    assert [name for name in environment if name.startswith(GIVEN)] == []
