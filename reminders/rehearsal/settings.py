"""Settings of a rehearsal: the program's own, cut off from the clinic's database, keys and ways out.

Import it before anything else of the program, in a process of its own: it empties the environment of all the
program would read there. What the copy of a living clinic needs comes through REHEARSAL_… variables.
"""

import os
import secrets

KEPT = frozenset({"PATH", "HOME", "LANG", "TMPDIR", "TEMP", "TMP", "SYSTEMROOT", "DJANGO_SETTINGS_MODULE"})
"""Variables of the machine, not of the clinic."""

GIVEN = "REHEARSAL_"
MEMORY = "sqlite://:memory:"


def _surroundings() -> dict[str, str]:
    given = {name.removeprefix(GIVEN): value for name, value in os.environ.items() if name.startswith(GIVEN)}
    kept = {name: value for name, value in os.environ.items() if name in KEPT or name.startswith(("LC_", "PYTHON"))}
    return {
        **kept,
        "DATABASE_URL": MEMORY,
        "LOG_LEVEL": "ERROR",
        **given,
        "SECRET_KEY": secrets.token_urlsafe(48),
        "LINK_KEY": secrets.token_urlsafe(48),
    }


_new = _surroundings()
os.environ.clear()
os.environ.update(_new)

from clinic.settings import *  # noqa: E402, F403  # it reads the environment as it stands now
