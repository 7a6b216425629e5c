"""The measurement runs and gives every figure it promises; how fast is for a person to read, not for a test."""

import json

import pytest
from django.core.management import CommandError, call_command

from reminders.bench import rules, timing


def test_every_figure_is_a_positive_number() -> None:
    figures = rules.measure(repeats=1, count=20).as_dict()
    assert list(figures) == ["cuts_per_second", "verdicts_per_second", "plans_per_second", "free_times_ms"]
    assert min(figures.values()) > 0


def test_json_is_one_object(capsys: pytest.CaptureFixture[str]) -> None:
    call_command("bench", "rules", "--repeats", "1", "--json")
    assert set(json.loads(capsys.readouterr().out)) == set(rules.measure(repeats=1, count=20).as_dict())


def test_rate_counts_what_one_run_does(monkeypatch: pytest.MonkeyPatch) -> None:
    ticks = iter([0.0, 2.0, 10.0, 14.0, 20.0, 26.0])
    monkeypatch.setattr(timing, "perf_counter", lambda: next(ticks))
    assert timing.per_second(lambda: None, count=8, repeats=3) == pytest.approx(2.0)


@pytest.mark.parametrize("words", [("speed",), ("rules", "--repeats", "0"), ("rules", "--repeats", "x")])
def test_nonsense_is_refused(words: tuple[str, ...]) -> None:
    with pytest.raises(CommandError):
        call_command("bench", *words)
