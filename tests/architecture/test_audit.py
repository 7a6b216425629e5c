"""The audit of what is pinned: it fails on a finding, says what it did not look at, and is never green over nothing."""

import importlib.util
import json
import sys
from collections.abc import Sequence
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = ROOT / ".ci" / "audit.py"
NOT_THERE = "No matching distribution found for nosuch==1"


@pytest.fixture(scope="module")
def audit() -> ModuleType:
    made = importlib.util.spec_from_file_location("wearwindow_audit", PROGRAM)
    assert made is not None
    assert made.loader is not None
    module = importlib.util.module_from_spec(made)
    sys.modules[made.name] = module
    made.loader.exec_module(module)
    return module


def _answers(audit: ModuleType, told: dict[str, tuple[int, str, str]]) -> Any:
    """A way to run commands that answers by the first key found in the command; anything else is not installed."""

    def run(command: Sequence[str]) -> Any:
        line = " ".join(command)
        found = next((answer for key, answer in told.items() if key in line), (127, "", "not installed"))
        return audit.Done(*found)

    return run


def _advisory(name: str, version: str, *faults: str) -> str:
    rows = [{"name": name, "version": version, "vulns": [{"id": fault} for fault in faults]}]
    return json.dumps({"dependencies": rows})


def test_an_advisory_of_a_service_is_a_finding(audit: ModuleType, tmp_path: Path) -> None:
    pins = tmp_path / "pins.txt"
    run = _answers(
        audit,
        {
            f"-r {pins}": (1, _advisory("left", "1.0", "CVE-0000-1"), ""),
            "-s pypi": (1, _advisory("django", "2.2.0", "CVE-0000-0"), ""),
        },
    )
    assert audit.asked_services({"left": "1.0"}, pins, run).found == ["left 1.0: CVE-0000-1"]


@pytest.mark.parametrize(
    "said",
    [
        "",
        "nothing that is JSON",
        json.dumps({"dependencies": [{"name": "django", "skip_reason": "not found"}]}),
        _advisory("django", "2.2.0"),
    ],
    ids=["silence", "no JSON", "passed over", "nothing against a bad release"],
)
def test_a_service_that_knows_nothing_of_a_bad_release_counts_as_not_asked(
    audit: ModuleType, tmp_path: Path, said: str
) -> None:
    looked = audit.asked_services({"left": "1.0"}, tmp_path / "pins.txt", _answers(audit, {"pip_audit": (0, said, "")}))
    assert "the service pypi does not answer from here; the service osv does not" in looked.missing
    lines, status = audit.report([looked])
    assert (status, lines[-1]) == (2, "AUDIT FAILED: nothing could be looked at, so nothing is known")


def test_a_withdrawn_release_and_one_that_is_gone_are_findings(audit: ModuleType) -> None:
    """The words are pip's own."""
    said = (
        "WARNING: The candidate selected for download or install is a yanked version: 'left' candidate (version 1.0 at"
    )
    taken_back = audit.withdrawn({"left": "1.0"}, _answers(audit, {"--dry-run": (0, "", said)}))
    assert taken_back.found == ["left 1.0: withdrawn"]
    gone = audit.withdrawn({"nosuch": "1"}, _answers(audit, {"--dry-run": (1, "", f"ERROR: {NOT_THERE}")}))
    assert gone.found == ["nosuch==1: the index has it no more"]
    offline = f"WARNING: Retrying after connection broken\nERROR: {NOT_THERE}"
    silent = audit.withdrawn({"nosuch": "1"}, _answers(audit, {"--dry-run": (1, "", offline)}))
    assert (silent.found, bool(silent.missing)) == ([], True)
    refused = f"ERROR: Could not find a version that satisfies nosuch==1 (from versions: none)\nERROR: {NOT_THERE}"
    unread = audit.withdrawn({"nosuch": "1"}, _answers(audit, {"--dry-run": (1, "", refused)}))
    assert (unread.found, bool(unread.missing)) == ([], True)


PDF = "/usr/lib/x/libpango-1.0.so.0\n[heap]\n"
WAITS = "Inst libpango [1.0-1] (1.0-1+deb12u1 Debian-Security:12/oldstable-security [amd64])\n"
OTHER = "Inst libpango [1.0-1] (1.0-2 Debian:12.15/oldstable [amd64])\n"


@pytest.mark.parametrize(("plan", "found"), [(WAITS, 1), (OTHER, 0), ("", 0)])
def test_a_security_update_that_waits_is_a_finding(audit: ModuleType, plan: str, found: int) -> None:
    told = {
        "write_pdf": (0, PDF, ""),
        "dpkg-query": (1, "libpango:amd64: /usr/lib/x/libpango-1.0.so.0\n", ""),
        "update": (0, "", ""),
        "-s install": (0, plan, ""),
    }
    assert len(audit.libraries(_answers(audit, told), mend=False).found) == found


def test_a_machine_without_apt_says_so(audit: ModuleType) -> None:
    looked = audit.libraries(_answers(audit, {"write_pdf": (0, PDF, "")}), mend=False)
    assert looked.missing.startswith("this is no Debian")


def test_newer_patches_are_told_and_fail_nothing(audit: ModuleType) -> None:
    told = {"versions left": (0, "left (2.0)\nAvailable versions: 2.0, 1.0.3, 1.0.1\n", "")}
    looked = audit.patches({"left": "1.0.1"}, ["left", "unpinned"], _answers(audit, told))
    assert looked.notes == [
        "left 1.0.1 is pinned, 1.0.3 is out: read its notes, take it within 14 days if it mends a fault"
    ]
    assert audit.report([looked])[1] == 0


def test_the_last_line_says_what_was_not_looked_at(audit: ModuleType) -> None:
    lines, status = audit.report([audit.Looked("one"), audit.Looked("two", missing="no answer")])
    assert status == 0
    assert lines == [
        "nothing found: one",
        "NOT LOOKED AT: two: no answer",
        "Audit: nothing found in what was looked at, but 1 of 2 sources were NOT looked at",
    ]
