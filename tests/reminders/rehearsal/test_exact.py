"""Whole scenarios, every line compared: worked out by hand from the message table and the calendar."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[3]
SCENARIOS = ROOT / "tests" / "data" / "scenarios"


def _rehearse(*words: str, **environment: str) -> subprocess.CompletedProcess[str]:
    surroundings = {"PATH": os.environ["PATH"], **environment}
    command = [sys.executable, str(ROOT / "manage.py"), "rehearse", *words]
    return subprocess.run(command, env=surroundings, capture_output=True, text=True, check=False)


def _lines(done: subprocess.CompletedProcess[str]) -> list[dict[str, object]]:
    return [json.loads(line) for line in done.stdout.splitlines()]


@pytest.fixture(scope="module")
def spring() -> subprocess.CompletedProcess[str]:
    """A clock change (London, 28 March 2027), an outage, a fault and two removals, played from the command line."""
    return _rehearse("--scenario", str(SCENARIOS / "spring.json"), "--json")


def test_a_clock_change_an_outage_and_a_removal(spring: subprocess.CompletedProcess[str]) -> None:
    expected = [json.loads(line) for line in (SCENARIOS / "spring.expected.jsonl").read_text().splitlines()]
    found = [{key: value for key, value in line.items() if key != "text"} for line in _lines(spring)]
    assert (spring.returncode, spring.stderr, found) == (0, "", expected)


def test_only_what_went_has_a_text_and_no_text_has_a_link_or_surname(spring: subprocess.CompletedProcess[str]) -> None:
    rows = [line for line in _lines(spring) if line["type"] == "message"]
    assert [bool(line["text"]) for line in rows] == [line["state"] == "sent" for line in rows]
    texts = " ".join(str(line["text"]) for line in rows)
    assert ("http" in texts, "Quill" in texts, "Lind" in texts, "[link]" in texts) == (False, False, False, True)


def test_a_file_needs_no_environment_that_can_be_read(tmp_path: Path) -> None:
    done = _rehearse(
        "--json",
        f"--scenario={SCENARIOS / 'contract.json'}",
        DATABASE_URL="postgres://nobody@192.0.2.1:1/none",
        SECRET_KEY_FILE="/nowhere/key",
        PROXY_COUNT="many",
        PUBLIC="true",
        EMAIL_URL="smtp://192.0.2.1:25",
        DATA_FOLDER=str(tmp_path / "none"),
    )
    kinds = [(line["kind"], line["at"]) for line in _lines(done) if line.get("state") == "sent"]
    assert (done.returncode, done.stderr, kinds) == (
        0,
        "",
        [
            ("aftercare", "2027-03-26T15:00:00Z"),
            ("exercise_ok", "2027-03-26T15:20:00Z"),
            ("skin_check", "2027-03-28T14:00:00Z"),
            ("skin_follow_up", "2027-03-31T14:00:00Z"),
        ],
    )
    assert list(tmp_path.iterdir()) == []


def test_the_same_file_for_a_reader() -> None:
    done = _rehearse("--scenario", str(SCENARIOS / "contract.json"))
    day = done.stdout.split("\n\n")[0].strip().splitlines()
    assert day == [
        "Friday, 26 March 2027",
        "  11:00  aftercare         p1, a1                                    text message to +12125550123",
        "         why: the tape went on at 11:00",
        "  11:20  exercise ok       p1, a1                                    text message to +12125550123",
        "         why: adhesion wait of 20 minutes over",
    ]
    assert done.stdout.rstrip().endswith("Nobody is on the call list at the end of this time.")


def test_a_bad_file_gets_one_line_and_exit_2(tmp_path: Path) -> None:
    file = tmp_path / "bad.json"
    file.write_text('{"patients": [{"ref": "p", "name": ""}], "from": "2027-03-26T08:00:00Z"}')
    done = _rehearse("--scenario", str(file), "--json")
    assert (done.returncode, done.stdout, len(done.stderr.splitlines())) == (2, "", 1)
    assert "patients[0].name: " in done.stderr


def test_what_the_services_refuse_is_told_and_the_play_goes_on(tmp_path: Path) -> None:
    scenario = json.loads((SCENARIOS / "contract.json").read_text())
    late = {"at": "2027-03-27T15:00:00Z", "what": "book", "ref": "v", "patient": "p1", "application": "a1"}
    scenario["events"].append({**late, "starts_at": "2027-04-02T15:00:00Z"})
    file = tmp_path / "late.json"
    file.write_text(json.dumps(scenario))
    done = _rehearse("--scenario", str(file), "--json")
    assert done.stderr.splitlines() == [
        "events[1]: The last day of the wear window is Wed 31 Mar 2027. Choose a time on that day or before it."
    ]
    assert [line["kind"] for line in _lines(done) if line.get("state") == "sent"][-1] == "skin_follow_up"
