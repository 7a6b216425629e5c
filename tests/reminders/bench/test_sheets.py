"""The bench of the sheets measures what it says and leaves nothing behind."""

import pytest

from clinic.models import Clinic, Patient, User
from reminders.bench.plan import NothingToMeasure
from reminders.bench.sheets import measure
from taping.models import Application


def test_it_measures_and_leaves_nothing_behind(clinic: Clinic) -> None:
    figures = measure(repeats=1, sheets=2, gets=3)
    assert figures.sheets_per_second > 0
    assert figures.library_alone_per_second > 0
    assert figures.link_page_requests == 5
    assert 10_000 < figures.link_page_bytes <= 40_000
    assert set(figures.as_dict()) == {
        "sheets_per_second", "library_alone_per_second", "overhead_percent",
        "link_page_p95_ms", "link_page_p95_cpu_ms", "link_page_bytes", "link_page_requests",
    }  # fmt: skip
    assert [rows.objects.count() for rows in (Application, Patient, User)] == [0, 0, 0]


def test_without_a_clinic_it_says_what_to_do(db: None) -> None:
    with pytest.raises(NothingToMeasure, match="no clinic yet"):
        measure(repeats=1)
