"""The measurement of long lists: small, but whole, with a database of its own and somebody who writes meanwhile."""

import json

import pytest
from django.core.management import CommandError, call_command


def test_a_whole_measurement_without_a_server(capsys: pytest.CaptureFixture[str]) -> None:
    call_command("bench", "import", "--lines", "200", "--json", "--server", "postgres://nobody@127.0.0.1:1")
    rows = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [row["state"] for row in rows] == ["new", "changed"]
    for row in rows:
        assert (row["database"], row["lines"], row["written"], row["others_failed"]) == ("sqlite", 200, 198, 0)
        assert min(row["seconds_check"], row["memory_mb"]) > 0


def test_a_number_that_measures_nothing_is_refused() -> None:
    with pytest.raises(CommandError, match="from 1 to 200000"):
        call_command("bench", "import", "--lines", "200001")
