"""What a rehearsal's process may know of the world around it: next to nothing."""

import os
import secrets

MODULE = "reminders.rehearsal.settings"
"""The settings of a process that rehearses."""

KEPT = frozenset({"PATH", "HOME", "LANG", "TMPDIR", "TEMP", "TMP", "SYSTEMROOT", "DJANGO_SETTINGS_MODULE"})
"""Variables of the machine, not of the clinic."""

GIVEN = "REHEARSAL_"
"""Begins the names of what the process that started this one hands over: the copy, and what is said in messages."""

MEMORY = "sqlite://:memory:"


def cut_off() -> None:
    """Empty the environment of all that the settings read, and put in what a rehearsal may know, with keys of its own.

    Whatever the clinic's database, keys, mail server and gateway are, this process can no longer find them.
    """
    given = {name.removeprefix(GIVEN): value for name, value in os.environ.items() if name.startswith(GIVEN)}
    kept = {name: value for name, value in os.environ.items() if name in KEPT or name.startswith(("LC_", "PYTHON"))}
    keys = {"SECRET_KEY": secrets.token_urlsafe(48), "LINK_KEY": secrets.token_urlsafe(48)}
    os.environ.clear()
    os.environ.update(kept | {"DATABASE_URL": MEMORY, "LOG_LEVEL": "ERROR"} | given | keys)
