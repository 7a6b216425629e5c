#!/usr/bin/env python3
"""The clinic's command line. Run `manage.py help` for what it can do."""

import os
import sys


def main() -> int:
    if sys.version_info < (3, 11):  # noqa: UP036  # an older interpreter must meet a sentence, not a syntax error
        print("Wearwindow needs Python 3.11 or newer; this is " + sys.version.split()[0] + ".", file=sys.stderr)
        return 2
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clinic.settings")
    try:
        from clinic.command_line import run
    except ModuleNotFoundError as missing:
        print(
            f"The package {missing.name} is not installed. In this folder run:\n"
            "  python3 -m venv .venv && .venv/bin/pip install -c .ci/constraints.txt -e .\n"
            "and then use .venv/bin/python manage.py",
            file=sys.stderr,
        )
        return 2
    return run(sys.argv)


if __name__ == "__main__":
    sys.exit(main())
