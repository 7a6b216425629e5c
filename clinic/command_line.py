"""Runs a management command and turns the faults a person can mend into one clear line."""

import os
import sys
from collections.abc import Sequence

from django.core.exceptions import ImproperlyConfigured
from django.core.management import execute_from_command_line
from django.db.utils import OperationalError


def run(arguments: Sequence[str]) -> int:
    """Exit status: 0 done, 1 done with findings, 2 could not be done and standard error says why."""
    if _plays_a_file(arguments):
        # It needs nothing of this clinic: no database, no keys, not even settings that can be read.
        os.environ["DJANGO_SETTINGS_MODULE"] = "reminders.rehearsal.settings"
    try:
        execute_from_command_line(list(arguments))
    except ImproperlyConfigured as refused:
        print("\n".join(f"Settings: {line}" for line in str(refused).splitlines()), file=sys.stderr)
        return 2
    except OperationalError as refused:
        reason = str(refused).strip().splitlines()[0]
        print(f"Database: {reason}. Check DATABASE_URL, the folder's rights and the free space.", file=sys.stderr)
        return 2
    except BrokenPipeError:
        # Whoever read along, such as head, has seen enough; without this Python complains once more as it ends.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 141
    except KeyboardInterrupt:
        return 130
    return 0


def _plays_a_file(arguments: Sequence[str]) -> bool:
    return arguments[1:2] == ["rehearse"] and any(word.partition("=")[0] == "--scenario" for word in arguments[2:])
