"""Runs a management command and turns the faults a person can mend into one clear line."""

import sys
from collections.abc import Sequence

from django.core.exceptions import ImproperlyConfigured
from django.core.management import execute_from_command_line
from django.db.utils import OperationalError


def run(arguments: Sequence[str]) -> int:
    """Exit status: 0 done, 1 done with findings, 2 could not be done and standard error says why."""
    try:
        execute_from_command_line(list(arguments))
    except ImproperlyConfigured as refused:
        print(f"Settings: {refused}", file=sys.stderr)
        return 2
    except OperationalError as refused:
        reason = str(refused).strip().splitlines()[0]
        print(f"Database: {reason}. Check DATABASE_URL, the folder's rights and the free space.", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        return 130
    return 0
