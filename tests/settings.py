"""Settings of the test run: the clinic's own, with keys, files and passwords that cost nothing."""

import os
import tempfile

os.environ.setdefault("SECRET_KEY", "test-secret-key-that-is-long-enough-to-be-one-0123456789")
os.environ.setdefault("LINK_KEY", "test-link-key-that-is-long-enough-to-be-another-0123456789")
os.environ.setdefault("DATA_FOLDER", tempfile.mkdtemp(prefix="wearwindow-test-"))
os.environ.setdefault("LOG_LEVEL", "WARNING")

from clinic.settings import *  # noqa: F403
from clinic.settings import DATA_FOLDER, DATABASES

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    # A file, not memory: the browser's server and the engine's threads open connections of their own.
    DATABASES["default"]["TEST"] = {"NAME": str(DATA_FOLDER / "test.sqlite3")}
# An empty folder of collected files: the pages' own are found where they lie.
STATIC_ROOT = DATA_FOLDER / "static"
STATIC_ROOT.mkdir(parents=True, exist_ok=True)
# Tests travel through days with one log-in; those about the lock set their own.
IDLE_LOCK_MINUTES = 10**6
SESSION_HOURS = 10**5
# Tests of pages log in as managers in one step; those about the second factor set their own.
MANAGERS_NEED_CODE = False
