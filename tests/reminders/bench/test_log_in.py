"""The measurement of log-ins under guesses: small, but whole, with its own server, database and guesser."""

import json
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from reminders.bench.log_in import NETWORKS, NEW


def test_every_guess_is_accounted_for_and_both_browsers_get_in() -> None:
    out, told = StringIO(), StringIO()
    call_command("bench", "login", "--repeats", "1", "--guesses", "300", "--json", stdout=out, stderr=told)
    rows = [json.loads(line) for line in out.getvalue().splitlines()]
    assert [(row["guesses_from"], row["log_in_by"]) for row in rows] == [
        (attack, name) for attack in NETWORKS for name in ("known browser", NEW)
    ]
    for row in rows:
        assert row["log_ins"] + row["log_ins_refused"] == 1
        assert row["guesses_refused"] + row["guesses_looked_at"] + row["guesses_unanswered"] == row["guesses_sent"] > 0
    for row in rows:
        assert (row["log_ins"], row["log_ins_refused"]) == (1, 0)
        assert row["p95_ratio"] == round(row["attacked_p95_ms"] / row["quiet_p95_ms"], 2)
        assert 0 < row["quiet_p50_ms"] <= row["quiet_p95_ms"]
    assert "300 guesses a minute" in told.getvalue()


def test_nonsense_is_one_line() -> None:
    with pytest.raises(CommandError, match="give a number from 1 to") as refused:
        call_command("bench", "login", "--guesses", "0")
    assert refused.value.returncode == 2
