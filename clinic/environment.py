"""Reads what the surroundings say: environment variables and the key files of the data folder."""

import os
import secrets
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured

KEY_BYTES = 48


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
