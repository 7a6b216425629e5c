"""Reads what the surroundings say: environment variables and the key files of the data folder."""

import os
import re
import secrets
from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Any

import environ
from django.core.exceptions import ImproperlyConfigured

KEY_BYTES = 48
YES, NO = frozenset({"true", "yes", "on", "1"}), frozenset({"false", "no", "off", "0"})


class Surroundings:
    """Variables that are not just words. Each that cannot be read is noted, so that all are told at once by refuse."""

    def __init__(self, variables: Mapping[str, str]) -> None:
        self._variables = variables
        self._wrong: list[str] = []

    def truth(self, name: str, *, default: bool = False) -> bool:
        """A yes or no. A word that is neither never counts as no: it may have been meant to protect."""
        word = self._word(name).lower()
        if word and word not in YES | NO:
            self._wrong.append(f"{name} is neither true nor false.")
        return word in YES if word else default

    def number(self, name: str, *, default: int, least: int, greatest: int) -> int:
        """A whole number from least to greatest."""
        word = self._word(name)
        if not word:
            return default
        if re.fullmatch(r"\d{1,9}", word) and least <= int(word) <= greatest:
            return int(word)
        self._wrong.append(f"{name} is not a whole number from {least} to {greatest}.")
        return default

    def chosen(self, name: str, *, default: str, among: Collection[str]) -> str:
        """One of a few words."""
        word = self._word(name).upper() or default
        if word in among:
            return word
        self._wrong.append(f"{name} is none of {', '.join(among)}.")
        return default

    def shaped(self, name: str, *, default: str, shape: str, like: str) -> str:
        """Words that the pattern shape fits; like: an example of them."""
        word = self._word(name)
        if word and not re.fullmatch(shape, word):
            self._wrong.append(f"{name} cannot be read. Write it like {like}")
            return default
        return word or default

    def database(self, name: str, *, default: str) -> dict[str, Any]:
        """Django's settings of a database, from its address."""
        url = self._word(name) or default
        if not re.match(r"(sqlite|postgres|postgresql)://", url):
            # Never the address itself: it may hold a password.
            self._wrong.append(f"{name} is no address of a database. Write it like postgres://user@host:5432/name")
            url = default
        try:
            return dict(environ.Env.db_url_config(url))
        except ValueError:
            self._wrong.append(f"{name} cannot be read. Write it like postgres://user@host:5432/name")
            return dict(environ.Env.db_url_config(default))

    def refuse(self) -> None:
        """Raises ImproperlyConfigured, a line for each variable that could not be read."""
        if self._wrong:
            raise ImproperlyConfigured("\n".join(self._wrong))

    def _word(self, name: str) -> str:
        return self._variables.get(name, "").strip()


def key_from(name: str, folder: Path, *, make: bool) -> str:
    """The secret called name: the variable, else the file it points to (NAME_FILE), else folder/name.

    A missing file is made with mode 0600 where make is true; otherwise the answer is empty and a check refuses the run.
    Raises ImproperlyConfigured where a key file can be read by others or cannot be written.
    """
    value = secret_from(name)
    if value:
        return value
    path = folder / name.lower()
    if path.exists():
        return _read_key(path)
    return _make_key(path) if make else ""


def secret_from(name: str) -> str:
    """The variable called name, else what stands in the file that NAME_FILE names, else an empty string."""
    value = os.environ.get(name, "").strip()
    pointed = os.environ.get(f"{name}_FILE", "").strip()
    if value or not pointed:
        return value
    try:
        return Path(pointed).read_text(encoding="utf-8").strip()
    except OSError as refused:
        raise ImproperlyConfigured(f"{name}_FILE cannot be read: {refused.strerror}.") from refused


def _read_key(path: Path) -> str:
    if path.stat().st_mode & 0o077:
        raise ImproperlyConfigured(f"The key file {path} can be read by others. Run: chmod 600 {path}")
    return path.read_text(encoding="utf-8").strip()


def _make_key(path: Path) -> str:
    value = secrets.token_urlsafe(KEY_BYTES)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        # O_EXCL: two processes starting together must end with one key, or links made by the first are dead.
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return _read_key(path)
    except OSError as refused:
        raise ImproperlyConfigured(f"The key file {path} cannot be written: {refused.strerror}.") from refused
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        file.write(value)
    return value
