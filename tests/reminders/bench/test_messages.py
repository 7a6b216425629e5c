"""The measurement itself: small, but whole, with its own databases, workers and counts."""

import json
import os
from collections import Counter
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from reminders.bench import killed, messages
from reminders.bench.sinks import Arrived, NoWay, Record
from reminders.rules.kinds import MessageKind


def recorded(path: Path, *lines: tuple[str, float]) -> Path:
    path.write_text("".join(f"{key} {at!r}\n" for key, at in lines))
    return path


class TestCounting:
    """Everything is counted from what arrived, whatever the outbox says."""

    def test_what_never_came_is_lost_what_came_again_is_doubled(self, tmp_path: Path) -> None:
        arrived = Arrived.read(recorded(tmp_path / "one", ("a", 1.0), ("b", 2.0), ("a", 3.0), ("a", 4.0)))
        assert arrived.judged({"a", "b", "c", "d"}, {"x"}) == {"lost": 2, "doubled": 2, "cancelled_sent": 0}

    def test_a_cancelled_one_that_came_is_told(self, tmp_path: Path) -> None:
        arrived = Arrived.read(recorded(tmp_path / "one", ("a", 1.0)), recorded(tmp_path / "two", ("x", 2.0)))
        assert arrived.judged({"a"}, {"x", "y"}) == {"lost": 0, "doubled": 0, "cancelled_sent": 1}

    def test_two_workers_that_sent_the_same_doubled_it(self, tmp_path: Path) -> None:
        arrived = Arrived.read(recorded(tmp_path / "one", ("a", 2.0)), recorded(tmp_path / "two", ("a", 1.0)))
        assert (arrived.times, arrived.firsts) == (Counter(a=2), [1.0])

    def test_a_worker_that_got_nothing_left_no_record(self, tmp_path: Path) -> None:
        assert Arrived.read(tmp_path / "none").judged({"a"}, set())["lost"] == 1

    def test_rate_and_lateness_count_from_the_moment_they_were_due(self, tmp_path: Path) -> None:
        lines = [(f"k{number}", 100.0 + number / 10) for number in range(1, 101)]
        arrived = Arrived.read(recorded(tmp_path / "one", *lines))
        assert arrived.rate(100.0) == pytest.approx(10)
        assert arrived.late(100.0) == pytest.approx((5.05, 9.901, 0.1))

    def test_the_record_is_on_disk_before_the_way_out_says_yes(self, tmp_path: Path) -> None:
        class Outgoing:
            class key:  # noqa: N801
                hex = "abc"

        assert NoWay(Record(tmp_path / "r")).send(Outgoing()) == "noted"  # type: ignore[arg-type]
        assert Arrived.read(tmp_path / "r").times == Counter(abc=1)


class TestKilled:
    """What came twice after a kill is allowed for a safety message that was uncertain, and a fault for any other."""

    def test_a_double_is_counted_by_what_it_was(self) -> None:
        times = Arrived(Counter(a=2, b=1), [100.0, 161.0])
        safety = killed.Healed.of(times, 101.0, {"a", "b"}, set())
        other = killed.Healed.of(Arrived(Counter(a=1, b=1), [100.0, 160.5]), 100.5, {"a", "b", "c"}, {"c"})
        assert killed.figures_of({"safety": safety, "other": other}) == {
            "healed_after_s": 60.0, "killed_lost": 0, "killed_doubled": 1, "killed_doubled_safety": 1,
            "killed_doubled_other": 0, "killed_with_a_person": 1,
        }  # fmt: skip

    def test_what_neither_came_nor_is_with_a_person_is_lost(self) -> None:
        healed = killed.Healed.of(Arrived(Counter(a=1), [100.0]), 100.0, {"a", "b", "c"}, {"c"})
        assert (healed.lost, healed.with_a_person) == (1, 1)

    def test_one_kind_keeps_people_safe_and_the_other_does_not(self) -> None:
        assert {name: MessageKind(kind).is_safety for name, kind in killed.KINDS.items()} == {
            "safety": True,
            "other": False,
        }


def test_a_whole_measurement_without_a_server(tmp_path: Path) -> None:
    """On SQLite alone: real processes, real databases; what is left out is said and stays empty."""
    said: list[str] = []
    plan = messages.Plan(messages=40, repeats=1, future=0, old=0, server="postgres://nobody@127.0.0.1:1")
    figures = messages.measure(plan, tmp_path, said.append)
    assert set(messages.KEYS) <= set(figures)
    assert [line.partition(",")[0] for line in said] == ["Left out: everything on PostgreSQL"]
    assert (figures["lost"], figures["doubled"], figures["cancelled_sent"]) == (0, 0, 0)
    assert figures["sqlite_per_second"] > 0
    assert figures["sqlite_raw_per_second"] > 0
    assert figures["first_after_s"] >= 0
    assert (figures["rush_per_second"], figures["peer"], figures["chain_per_second"]) == (None, None, None)


def test_the_command_prints_one_object(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    asked: list[messages.Plan] = []

    def measure(plan: messages.Plan, folder: Path, say: object) -> dict[str, object]:
        asked.append(plan)
        return {**dict.fromkeys(messages.KEYS), "lost": 0}

    monkeypatch.setattr(messages, "measure", measure)
    monkeypatch.setenv("POSTGRES_SERVER", "postgres://p@server.example.org")
    call_command("bench", "messages", "--json", "--messages", "50", "--repeats", "2")
    assert set(json.loads(capsys.readouterr().out)) == set(messages.KEYS)
    assert (asked[0].messages, asked[0].repeats, asked[0].server) == (50, 2, "postgres://p@server.example.org")
    call_command("bench", "messages")
    assert "not measured" in capsys.readouterr().out


@pytest.mark.parametrize("number", ["39", "200001", "-1"])
def test_a_number_that_measures_nothing_is_refused(number: str) -> None:
    with pytest.raises(CommandError, match="from 40 to 200000"):
        call_command("bench", "messages", "--messages", number)


def test_the_measurement_sees_nothing_of_the_clinic(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("EMAIL_URL", "SMS_GATEWAY_URL", "SMS_GATEWAY_TOKEN", "REDIS_URL", "DATABASE_PASSWORD"):
        monkeypatch.setenv(name, "the clinic's own")
    from reminders.bench.company import environment_of

    around = environment_of("sqlite:///x", tmp_path)
    assert "the clinic's own" not in around.values()
    assert around["DATA_FOLDER"] == str(tmp_path)
    assert around["SECRET_KEY"] != os.environ["SECRET_KEY"]
