"""The browser's files: few, compressed, named after their content, and collected again only where they changed."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders
from django.core.exceptions import ImproperlyConfigured
from pytest_django import Settings

from clinic.static_files import BOOTSTRAP, HTMX, static_collect

ROOT = Path(__file__).resolve().parents[2]
APPS = ("clinic", "taping", "reminders")
PROGRAM = """
import django, sys
django.setup()
from clinic.static_files import static_collect
from django.templatetags.static import static
made = [static_collect(), static_collect()]
print(made, static("css/wearwindow.css"), static("vendor/bootstrap/css/bootstrap.min.css"))
"""


def collected(folder: Path) -> str:
    """What a process of its own says: the clinic's settings, not the tests', decide."""
    environment = {**os.environ, "DATA_FOLDER": str(folder), "DJANGO_SETTINGS_MODULE": "clinic.settings"}
    run = subprocess.run(
        [sys.executable, "-c", PROGRAM], cwd=ROOT, env=environment, capture_output=True, text=True, check=True
    )
    return run.stdout


def test_files_are_compressed_named_by_content_and_made_once(tmp_path: Path) -> None:
    made, _, names = collected(tmp_path).strip().partition("] ")
    assert made == "[True, False"
    for name in names.split():
        file = tmp_path / name.removeprefix("/")
        assert file.stem.count(".") >= 1
        whole = file.stat().st_size
        packed = [file.with_name(f"{file.name}.{ending}").stat().st_size for ending in ("br", "gz")]
        assert max(packed) < whole / 2


def test_a_changed_source_is_collected_again(tmp_path: Path) -> None:
    collected(tmp_path)
    stamp = next(tmp_path.rglob("collected-from.txt"))
    stamp.write_text("of another version", encoding="utf-8")
    assert collected(tmp_path).startswith("[True, False]")


def test_only_the_files_that_pages_name_are_taken_from_packages() -> None:
    found = {
        f"{getattr(storage, 'prefix', '') or ''}/{name}".strip("/")
        for one in finders.get_finders()
        for name, storage in one.list([])
    }
    own = {str(path.relative_to(ROOT / "static")) for path in (ROOT / "static").rglob("*") if path.is_file()}
    assert found == own | {f"vendor/bootstrap/{name}" for name in BOOTSTRAP} | set(HTMX)


@pytest.mark.parametrize("name", ["vendor/bootstrap/css/bootstrap.min.css", "django_htmx/htmx-2.min.js"])
def test_a_package_file_is_found_by_the_name_pages_use(name: str) -> None:
    assert Path(str(finders.find(name))).is_file()


@pytest.mark.parametrize("name", ["css/bootstrap.min.css", "vendor/bootstrap/css/bootstrap.css", "htmx-2.js"])
def test_no_other_package_file_is_found(name: str) -> None:
    assert finders.find(name) is None


def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path, settings: Settings) -> None:
    blocked = tmp_path / "a file"
    blocked.write_text("in the way", encoding="utf-8")
    settings.STATIC_ROOT = blocked / "static"
    with pytest.raises(ImproperlyConfigured, match="STATIC_FOLDER cannot be written"):
        static_collect()


def test_every_file_that_a_page_or_a_program_names_is_there() -> None:
    """Where nothing is collected the plain name is served unchecked; a public run answers a wrong one with 500."""
    tag = re.compile(r"""\{%-?\s*static\s+(?:["']([^"']+)["'])?""")  # a name put together at run time gives ""
    call = re.compile(r"""(?<!\w)static\(\s*(?:["']([^"']+)["'])?""")
    named = [
        (path.relative_to(ROOT), name)
        for folder, ending, form in [("templates", "*.html", tag), *((app, "*.py", call) for app in APPS)]
        for path in (ROOT / folder).rglob(ending)
        for name in form.findall(path.read_text(encoding="utf-8"))
    ]
    assert {path.parts[0] for path, _ in named} >= {"templates", "clinic"}
    assert [f"{path}: {name}" for path, name in named if not name or finders.find(name) is None] == []
