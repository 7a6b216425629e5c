"""The security standard's table in DEVELOPERS.md: no number without a row, no empty cell, no test but a real one."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
STATES = {"held", "in part", "not met", "yours", "not here"}
# OWASP ASVS 5.0.0: how many requirements of levels 1 and 2 each section has; they are its first ones, without a gap.
NUMBERS = {
    "1.1": 2, "1.2": 9, "1.3": 11, "1.4": 3, "1.5": 2,
    "2.1": 3, "2.2": 3, "2.3": 4, "2.4": 1,
    "3.1": 0, "3.2": 2, "3.3": 4, "3.4": 6, "3.5": 5, "3.6": 0, "3.7": 2,
    "4.1": 3, "4.2": 1, "4.3": 2, "4.4": 4,
    "5.1": 1, "5.2": 3, "5.3": 2, "5.4": 3,
    "6.1": 3, "6.2": 12, "6.3": 4, "6.4": 4, "6.5": 5, "6.6": 3, "6.7": 0, "6.8": 4,
    "7.1": 3, "7.2": 4, "7.3": 2, "7.4": 5, "7.5": 2, "7.6": 2,
    "8.1": 2, "8.2": 3, "8.3": 1, "8.4": 1,
    "9.1": 3, "9.2": 4,
    "10.1": 2, "10.2": 2, "10.3": 4, "10.4": 11, "10.5": 5, "10.6": 2, "10.7": 3,
    "11.1": 2, "11.2": 3, "11.3": 3, "11.4": 4, "11.5": 1, "11.6": 1, "11.7": 0,
    "12.1": 3, "12.2": 2, "12.3": 4,
    "13.1": 1, "13.2": 5, "13.3": 2, "13.4": 5,
    "14.1": 2, "14.2": 4, "14.3": 3,
    "15.1": 3, "15.2": 3, "15.3": 7, "15.4": 0,
    "16.1": 1, "16.2": 5, "16.3": 4, "16.4": 3, "16.5": 3,
    "17.1": 1, "17.2": 4, "17.3": 2,
}  # fmt: skip


def _rows() -> list[list[str]]:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    table = text.partition("## OWASP ASVS 5.0, level 2")[2].partition("\n## ")[0]
    lines = [line for line in table.splitlines() if line.startswith("|")][2:]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]


def _numbers(text: str) -> list[int]:
    if text == "–":
        return []
    found: list[int] = []
    for part in text.split(", "):
        first, _, last = part.partition("–")
        found += range(int(first), int(last or first) + 1)
    return found


def test_every_requirement_of_levels_1_and_2_stands_in_one_row() -> None:
    found: dict[str, list[int]] = {}
    for section, numbers, *_ in _rows():
        found.setdefault(section.split()[0], []).extend(_numbers(numbers))
    assert {section: sorted(numbers) for section, numbers in found.items()} == {
        section: list(range(1, count + 1)) for section, count in NUMBERS.items()
    }


def test_no_cell_is_empty_and_every_state_is_one_of_five() -> None:
    assert [row for row in _rows() if len(row) != 4 or not all(row)] == []
    assert {state for _, _, state, _ in _rows()} == STATES


def test_what_is_held_names_a_test() -> None:
    without = [row[:3] for row in _rows() if row[2] in ("held", "in part") and "`tests/" not in row[3]]
    assert without == []


@pytest.mark.parametrize("row", [*range(200)])
def test_every_path_in_a_row_exists(row: int) -> None:
    rows = _rows()
    if row >= len(rows):
        return
    paths = re.findall(r"`((?:tests|clinic|\.ci)/[^`]+)`", rows[row][3])
    assert [path for path in paths if not (ROOT / path).is_file()] == []
