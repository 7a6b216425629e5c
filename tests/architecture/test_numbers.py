"""Patients that tests make up never have a number by chance that a test writes out: one in ninety runs would differ."""

import re
from pathlib import Path

from tests.factories.clinic import NUMBERS

TESTS = Path(__file__).parents[1]


def test_no_patient_gets_a_number_that_a_test_writes_out() -> None:
    written = {
        int(found)
        for path in TESTS.rglob("*.py")
        for found in re.findall(r"555[- ]?(01\d\d)\b", path.read_text("utf-8"))
    }
    assert set(NUMBERS) & written == set()
