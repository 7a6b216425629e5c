"""The redraw of the strip plan is measured through the real page, and leaves nothing behind."""

import json

import pytest
from django.core.management import CommandError, call_command

from clinic.models import Clinic, Patient, User
from reminders.bench import plan
from taping.models import StripPlan

pytestmark = pytest.mark.django_db


def test_every_figure_is_there_and_nothing_stays_in_the_database(
    clinic: Clinic, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(plan, "SPANS_MM", range(200, 400, 50))
    call_command("bench", "plan", "--repeats", "1", "--json")
    figures = json.loads(capsys.readouterr().out)
    assert list(figures) == [
        "redraws", "p50_ms", "p95_ms", "slowest_ms", "p50_cpu_ms", "p95_cpu_ms", "queries",
    ]  # fmt: skip
    assert figures["redraws"] == 4
    assert 0 < figures["p50_ms"] <= figures["slowest_ms"]
    assert [model.objects.count() for model in (User, Patient, StripPlan)] == [0, 0, 0]


def test_empty_database_is_said_so() -> None:
    with pytest.raises(CommandError, match="has no clinic yet"):
        call_command("bench", "plan")
