"""The browser's files: only those the pages use, compressed and named after their content, also in the embedded run."""

import hashlib
import json
from collections.abc import Iterator
from importlib.metadata import version
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import django
from bootstrap_wrapper import get_bootstrap_dir
from django.conf import settings
from django.contrib.staticfiles.finders import BaseFinder, get_finders
from django.core.exceptions import ImproperlyConfigured
from django.core.files.storage import FileSystemStorage
from django.core.management import call_command
from whitenoise.storage import CompressedManifestStaticFilesStorage

STAMP = "collected-from.txt"
MANIFEST = "staticfiles.json"
BOOTSTRAP = ("css/bootstrap.min.css", "css/bootstrap.min.css.map")  # the sheet names its map
HTMX = ("django_htmx/htmx-2.js", "django_htmx/htmx-2.min.js", "django_htmx/django-htmx.js")


class PackageFiles(BaseFinder):
    """The few files of installed packages that the pages name; the packages bring hundreds more."""

    def __init__(self, app_names: object = None, *args: object, **kwargs: object) -> None:
        bootstrap: Any = FileSystemStorage(location=str(get_bootstrap_dir()))
        bootstrap.prefix = "vendor/bootstrap"
        htmx: Any = FileSystemStorage(location=str(_folder_of("django_htmx") / "static"))
        htmx.prefix = ""
        self.sources: tuple[tuple[Any, tuple[str, ...]], ...] = ((bootstrap, BOOTSTRAP), (htmx, HTMX))

    def check(self, **kwargs: object) -> list[Any]:
        return []

    def list(self, ignore_patterns: object) -> Iterator[tuple[str, Any]]:
        for storage, names in self.sources:
            for name in names:
                yield name, storage

    def find(self, path: str, find_all: bool = False, **kwargs: object) -> Any:
        for storage, names in self.sources:
            inside = path.removeprefix(f"{storage.prefix}/") if storage.prefix else path
            if inside in names and (not storage.prefix or path != inside):
                found = storage.path(inside)
                return [found] if find_all else found
        return []


def _folder_of(package: str) -> Path:
    spec = find_spec(package)
    if spec is None or spec.origin is None:
        raise ImproperlyConfigured(f"{package} is not installed.")
    return Path(spec.origin).parent


class StaticFiles(CompressedManifestStaticFilesStorage):  # type: ignore[misc]  # untyped
    """Names with a hash of the content, kept by browsers for good.

    Where nothing was collected, as under a developer's server or the tests, the plain names are served; a public run
    refuses that, since its files would not be found.
    """

    def stored_name(self, name: str) -> str:
        key = self.hash_key(self.clean_name(name))
        if key not in self.hashed_files and not settings.PUBLIC:
            return name
        return str(super().stored_name(name))


def static_collect() -> bool:
    """Collect, hash and compress the files where they changed since the last time; whether that was so.

    Raises ImproperlyConfigured where the folder cannot be written.
    """
    folder, stamp = Path(settings.STATIC_ROOT), _stamp()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if (folder / MANIFEST).exists() and _read(folder / STAMP) == stamp:
            return False
        call_command("collectstatic", interactive=False, verbosity=0)
        (folder / STAMP).write_text(stamp, encoding="utf-8")
    except OSError as refused:
        raise ImproperlyConfigured(f"STATIC_FOLDER cannot be written: {refused.strerror}.") from refused
    return True


def _read(path: Path) -> str:
    return path.read_text(encoding="utf-8") if path.exists() else ""


def _stamp() -> str:
    """What the collected files came from: versions, and each source's name, size and time."""
    rows: list[list[object]] = [[django.__version__, version("whitenoise")]]
    for finder in get_finders():
        for name, storage in finder.list([]):
            at = Path(storage.path(name)).stat()
            rows.append([getattr(storage, "prefix", "") or "", name, at.st_size, at.st_mtime_ns])
    return hashlib.sha256(json.dumps(rows).encode()).hexdigest()
