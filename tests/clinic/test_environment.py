"""Keys and secrets: made once, kept from others, taken from files where told."""

import os
import stat
from pathlib import Path

import pytest
from django.core.exceptions import ImproperlyConfigured

from clinic.environment import key_from, secret_from


@pytest.fixture(autouse=True)
def bare(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("LINK_KEY", "LINK_KEY_FILE", "DATABASE_PASSWORD", "DATABASE_PASSWORD_FILE"):
        monkeypatch.delenv(name, raising=False)


def test_a_first_run_makes_a_key_that_only_its_owner_reads(tmp_path: Path) -> None:
    key = key_from("LINK_KEY", tmp_path / "var", make=True)
    path = tmp_path / "var" / "link_key"
    assert (path.read_text(), stat.S_IMODE(path.stat().st_mode)) == (key, 0o600)
    assert len(key) >= 32


def test_a_second_run_finds_the_same_key(tmp_path: Path) -> None:
    assert key_from("LINK_KEY", tmp_path, make=True) == key_from("LINK_KEY", tmp_path, make=True)


def test_two_clinics_get_different_keys(tmp_path: Path) -> None:
    assert key_from("LINK_KEY", tmp_path / "a", make=True) != key_from("LINK_KEY", tmp_path / "b", make=True)


def test_a_public_run_makes_none(tmp_path: Path) -> None:
    assert key_from("LINK_KEY", tmp_path, make=False) == ""
    assert list(tmp_path.iterdir()) == []


def test_the_variable_wins_over_the_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    key_from("LINK_KEY", tmp_path, make=True)
    monkeypatch.setenv("LINK_KEY", "from the environment")
    assert key_from("LINK_KEY", tmp_path, make=True) == "from the environment"


def test_a_file_may_be_named_by_a_variable(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "elsewhere").write_text("from a secret file\n")
    monkeypatch.setenv("LINK_KEY_FILE", str(tmp_path / "elsewhere"))
    assert key_from("LINK_KEY", tmp_path, make=False) == "from a secret file"


def test_a_key_that_others_can_read_is_refused_with_the_cure(tmp_path: Path) -> None:
    path = tmp_path / "link_key"
    path.write_text("open to all")
    path.chmod(0o644)
    with pytest.raises(ImproperlyConfigured, match=f"chmod 600 {path}"):
        key_from("LINK_KEY", tmp_path, make=True)


def test_a_folder_that_is_a_file_is_named(tmp_path: Path) -> None:
    (tmp_path / "var").write_text("in the way")
    with pytest.raises(ImproperlyConfigured, match="cannot be written"):
        key_from("LINK_KEY", tmp_path / "var" / "deeper", make=True)


def test_a_process_that_loses_the_race_uses_the_winners_key(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    winner = key_from("LINK_KEY", tmp_path, make=True)
    monkeypatch.setattr(Path, "exists", lambda path: False)
    assert key_from("LINK_KEY", tmp_path, make=True) == winner


def test_secrets_come_from_the_variable_or_its_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert secret_from("DATABASE_PASSWORD") == ""
    (tmp_path / "secret").write_text(" hush \n")
    monkeypatch.setenv("DATABASE_PASSWORD_FILE", str(tmp_path / "secret"))
    assert secret_from("DATABASE_PASSWORD") == "hush"
    monkeypatch.setenv("DATABASE_PASSWORD", "louder")
    assert secret_from("DATABASE_PASSWORD") == "louder"


def test_a_secret_file_that_is_missing_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DATABASE_PASSWORD_FILE", os.devnull + "/nothing")
    with pytest.raises(ImproperlyConfigured, match="DATABASE_PASSWORD_FILE cannot be read"):
        secret_from("DATABASE_PASSWORD")
