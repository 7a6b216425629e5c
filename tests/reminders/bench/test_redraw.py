"""The redraw of the strip plan is measured in a real browser, and where there is none the figures say so."""

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from reminders.bench.redraw import NO_BROWSER
from tests.browser.conftest import CHROMIUM

ROOT = Path(__file__).resolve().parents[3]


def bench(**surroundings: str) -> dict[str, Any]:
    """A process of its own: the driver of a browser cannot run twice in one."""
    command = [sys.executable, "manage.py", "bench", "redraw", "--repeats", "1", "--json"]
    run = subprocess.run(
        command, cwd=ROOT, env={**os.environ, **surroundings}, capture_output=True, text=True, check=True
    )
    found: dict[str, Any] = json.loads(run.stdout)
    return found


@pytest.mark.browser
def test_a_browser_sees_every_change() -> None:
    if CHROMIUM is None and not os.environ.get("CI"):
        pytest.skip("Chromium is missing: apt-get install chromium")
    figures = bench()
    assert figures["measured_in"].startswith("Chromium ")
    assert figures["redraws"] == 100
    assert 0 < figures["answer_p50_ms"] < figures["redraw_p50_ms"] <= figures["redraw_p95_ms"]
    assert figures["redraw_p95_ms"] <= figures["redraw_slowest_ms"]


def test_without_a_browser_the_answers_are_measured_and_the_redraws_are_not(tmp_path: Path) -> None:
    figures = bench(PATH=str(tmp_path), PLAYWRIGHT_BROWSERS_PATH=str(tmp_path))
    assert figures["measured_in"] == NO_BROWSER
    assert [figures[f"redraw_{name}_ms"] for name in ("p50", "p95", "slowest")] == [None, None, None]
    assert 0 < figures["answer_p50_ms"] <= figures["answer_p95_ms"]
