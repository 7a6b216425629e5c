"""What must stay true of the tree itself."""

import ast
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "pyproject.toml", "manage.py", "clinic", "taping", "reminders", "templates",
    "static", "tests", "demo_fixtures", "docker-compose.yml", "LICENSE",
}  # fmt: skip
TEXT = {".py", ".html", ".txt", ".md", ".toml", ".js", ".css", ".svg", ".yml", ".yaml", ".json"}
LONGEST_MODULE = 400
LONGEST_FUNCTION = 50


def _tracked() -> list[Path]:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode:
        pytest.skip("not a git checkout: the tracked files cannot be listed")
    return [path for name in listed.stdout.splitlines() if (path := ROOT / name).is_file()]


def _modules() -> list[Path]:
    return [path for path in _tracked() if path.suffix == ".py" and "migrations" not in path.parts]


def test_top_level_is_the_agreed_one() -> None:
    tops = {path.relative_to(ROOT).parts[0] for path in _tracked()}
    assert {top for top in tops if not top.startswith(".")} == TOP_LEVEL


def test_rules_load_without_the_framework() -> None:
    """The clinic package imports nothing, so that rules can be used, and checked, by plain Python."""
    names = [
        ".".join(path.relative_to(ROOT).with_suffix("").parts)
        for path in _modules()
        if "rules" in path.relative_to(ROOT).parts[:2] and path.stem != "__init__"
    ]
    assert len(names) > 20
    program = "import sys\n" + "\n".join(f"import {name}" for name in names) + "\nsys.exit('django' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", program], cwd=ROOT, check=False).returncode == 0


def test_modules_and_functions_stay_short() -> None:
    long = []
    for path in _modules():
        text = path.read_text(encoding="utf-8")
        if sum(1 for line in text.splitlines() if line.strip()) > LONGEST_MODULE:
            long.append(str(path))
        functions = [node for node in ast.walk(ast.parse(text)) if isinstance(node, ast.FunctionDef)]
        long += [f"{path}:{one.name}" for one in functions if (one.end_lineno or 0) - one.lineno >= LONGEST_FUNCTION]
    assert long == []


def test_every_toml_entry_of_the_rules_names_its_source() -> None:
    without = []
    for path in _tracked():
        if path.suffix != ".toml" or "rules" not in path.parts:
            continue
        for table, entries in tomllib.loads(path.read_text(encoding="utf-8")).items():
            rows = [row for row in entries if isinstance(row, dict)] if isinstance(entries, list) else []
            without += [f"{path.name}: {table}: {row}" for row in rows if not str(row.get("source", "")).strip()]
    assert without == []


def test_nothing_points_outside_the_project() -> None:
    """No content delivery network, no machine's path, no registered-mark sign anywhere in what is shipped."""
    marks = re.compile(r"cdn\.|jsdelivr|unpkg|googleapis|\u00ae|\u2122|/work/|/root/", re.IGNORECASE)
    here = Path(__file__)
    found = [
        f"{path.relative_to(ROOT)}: {hit.group()}"
        for path in _tracked()
        if path.suffix in TEXT and path != here
        for hit in marks.finditer(path.read_text(encoding="utf-8"))
    ]
    assert found == []


def test_nothing_is_named_by_a_key_that_only_its_authors_can_look_up() -> None:
    """Three letters, a hyphen and two digits: a test says in words what it holds. UTF is an encoding."""
    keys = re.compile(r"\b(?!UTF)[A-Z]{3}-[0-9]{2}\b")
    texts = [path for path in _tracked() if path.suffix in TEXT]
    assert len(texts) > 500
    found = [
        f"{path.relative_to(ROOT)}: {hit.group()}"
        for path in texts
        for hit in keys.finditer(path.read_text(encoding="utf-8"))
    ]
    assert found == []


def test_no_address_is_built_from_what_a_request_calls_this_place() -> None:
    """Host and forwarded headers can be forged: links come from PUBLIC_ADDRESS. The one reader only compares."""
    reads = re.compile(r"build_absolute_uri|get_host\(|HTTP_HOST|get_current_site|USE_X_FORWARDED_HOST|FORWARDED_HOST")
    sources = [path for path in _tracked() if path.suffix in {".py", ".html", ".txt"} and "tests" not in path.parts]
    assert len(sources) > 100
    found = [
        f"{path.relative_to(ROOT)}: {hit.group()}"
        for path in sources
        for hit in reads.finditer(path.read_text(encoding="utf-8"))
    ]
    assert found == ["clinic/views/posting.py: get_host("]


def test_templates_obey_the_content_policy() -> None:
    """An inline style, script or handler would be refused by the browser and only seen there."""
    inline = re.compile(r"<style|\sstyle=|\son[a-z]+=\"|<script(?![^>]*\ssrc=)", re.IGNORECASE)
    pages = [path for path in (ROOT / "templates").rglob("*.html") if "messages" not in path.parts]
    assert pages
    assert [str(path) for path in pages if inline.search(path.read_text(encoding="utf-8"))] == []


def test_scripts_keep_nothing_in_the_browser() -> None:
    """Drafts lie on the server: a shared tablet's storage may throw, be wiped, or show the last person's text."""
    writes = re.compile(r"(local|session)Storage(?!\.clear\(\))|indexedDB|document\.cookie|caches\.open")
    scripts = list((ROOT / "static" / "js").glob("*.js"))
    assert scripts
    assert [path.name for path in scripts if writes.search(path.read_text(encoding="utf-8"))] == []
