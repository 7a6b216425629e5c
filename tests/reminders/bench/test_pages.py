"""The measurement of the pages: small, but whole, with its own databases; and no page is left out unseen."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.db.models import Count, F, Q

from clinic.models import Clinic, Patient, Visit
from clinic.views import guesses
from reminders.bench import bulk, crowd, outcome, pages, walk
from reminders.models import Message
from taping.models import Application
from tests.browser.pages import NO_PAGE, names
from tests.factories.clinic import UserFactory

NOW = datetime(2027, 3, 10, 15, tzinfo=UTC)
LEFT_OUT = {"log_out", "account_password", "account_codes", "account_factor", "account_factor_off"}
"""Pages with no table behind them but the row of whoever asks."""


def test_every_page_is_measured() -> None:
    measured = {page.name.partition(":")[0] for page in walk.PAGES if not page.name.startswith("search:")}
    wanted = names() - NO_PAGE - LEFT_OUT
    assert (wanted - measured, measured - names()) == (set(), set())


class TestCrowd:
    """The rows that lie behind the pages are as many and as spread as is said."""

    @pytest.fixture(autouse=True)
    def filled(self, db: None) -> None:
        small, full = (crowd.Size(**pages.size_of(number, 1000)) for number in (10, 40))
        crowd.crowd_begin(small)
        for size, beside in ((small, None), (full, small)):
            part = crowd._Part(size, beside or crowd.Size(0, 0, 0, size.tapes_a_day, size.visits_a_day), NOW)
            part.fill()
        bulk.numbers_go_on(Patient, Application)

    def test_each_patient_has_four_tapes_eight_visits_and_twenty_messages(self) -> None:
        each = Patient.objects.annotate(
            tapes=Count("applications", distinct=True),
            seen=Count("visits", distinct=True),
            said=Count("messages", distinct=True),
        )
        assert set(each.values_list("tapes", "seen", "said")) == {(4, 8, 20)}
        assert Patient.objects.count() == 40

    def test_a_day_holds_as_much_as_any_other(self) -> None:
        day = datetime(2027, 3, 9, tzinfo=UTC)
        held = Visit.objects.filter(starts_at__gte=day, starts_at__lt=day + timedelta(days=1)).count()
        earlier = day - timedelta(days=20)
        before = Visit.objects.filter(starts_at__gte=earlier, starts_at__lt=earlier + timedelta(days=1)).count()
        assert (held, before) == (4, 4)

    def test_nothing_due_waits_and_what_is_to_come_is_planned(self) -> None:
        assert not Message.objects.filter(state="planned", planned_for__lte=NOW).exists()
        assert not Message.objects.filter(planned_for__gt=NOW).exclude(state__in=("planned", "dropped")).exists()
        assert Message.objects.filter(state="planned").exists()

    def test_nothing_is_left_to_plan(self) -> None:
        stale = ~Q(plan_version=F("planned_version"))
        assert not Application.objects.filter(stale).exists()
        assert not Patient.objects.filter(stale).exists()
        assert not Visit.objects.filter(stale).exists()

    def test_the_next_row_gets_the_next_number(self) -> None:
        last = Patient.objects.order_by("-pk").values_list("pk", flat=True)[0]
        assert Patient.objects.create(full_name="Ada Quill").pk == last + 1


def test_a_tape_is_on_for_five_days_and_few_are_late() -> None:
    tapes = [outcome.tape_of(number, a_day=100, now=NOW) for number in range(2000)]
    assert not [one for one in tapes if one.days_ago <= 1 and one.ended_at]
    assert {one.days_ago for one in tapes if one.is_overdue} == {6, 7, 8, 9}
    assert sum(one.ended_at is None for one in tapes) / 100 == pytest.approx(5, abs=0.5)


def test_a_column_that_is_none_is_told() -> None:
    with pytest.raises(LookupError, match="patient has no shoe_size"):
        bulk.rows_put(Patient(), ("shoe_size",), [])


def test_somebody_who_walks_for_an_hour_is_never_told_to_come_back_later(
    clinic: Clinic, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("mona", "dana", "thea"):
        UserFactory(username=name)
    monkeypatch.setattr(walk, "PAGES", [page for page in walk.PAGES if not page.user and ":unknown" in page.name])
    somebody = walk.Walk(walk.Sample(1, things={}))
    assert [list(somebody.once()) for _ in range(2 * guesses.FREE)] == [["link_page:unknown"]] * 2 * guesses.FREE


@pytest.mark.skipif(connection.vendor != "sqlite", reason="measured without a server")
def test_a_whole_measurement_without_a_server(tmp_path: Path) -> None:
    said: list[str] = []
    scale = pages.Scale(patients=500, walks=1, server="postgres://nobody@127.0.0.1:1")
    rows = pages.measure(scale, tmp_path, said.append)
    assert [row["page"] for row in rows] == [page.name for page in walk.PAGES]
    assert all(row["p95_ms_full"] >= row["p50_ms_full"] > 0 for row in rows)
    assert said[0].startswith("On SQLite and with a tenth")
    assert {row["page"]: row["queries"] for row in rows if row["queries"] > 15} == {}


def test_sqlite_can_be_asked_for_where_a_server_is_at_hand(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    measured: list[tuple[str, int]] = []

    def measure(server: object, patients: int, *rest: object) -> list[dict[str, object]]:
        measured.append((type(server).__name__, patients))
        return []

    monkeypatch.setattr(pages, "_measured", measure)
    monkeypatch.setattr(pages, "Server", lambda address: pytest.fail(f"a server was asked for: {address}"))
    said: list[str] = []
    pages.measure(pages.Scale(patients=50_000, sqlite=True), tmp_path, said.append)
    assert (measured, said) == ([("Files", 5_000)], ["On SQLite and with a tenth, as asked."])


def test_the_command_prints_an_object_a_page(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    asked: list[pages.Scale] = []
    row = {"page": "today", "queries": 12, "p50_ms_small": 1.5, "p95_ms_small": 2.0, "p50_ms_full": 1.25,
           "p95_ms_full": 1234.5}  # fmt: skip

    def measure(scale: pages.Scale, folder: Path, say: object) -> list[dict[str, object]]:
        asked.append(scale)
        return [row, row | {"page": "diary"}]

    monkeypatch.setattr(pages, "measure", measure)
    monkeypatch.setenv("POSTGRES_SERVER", "postgres://p@server.example.org")
    call_command("bench", "pages", "--json", "--patients", "1000", "--repeats", "2")
    printed = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert printed == [row, row | {"page": "diary"}]
    assert asked == [pages.Scale(patients=1000, walks=2, server="postgres://p@server.example.org")]
    call_command("bench", "pages", "--sqlite")
    assert "1,234.5" in capsys.readouterr().out
    assert asked[1] == pages.Scale(server="postgres://p@server.example.org", sqlite=True)


@pytest.mark.parametrize("number", ["499", "200001"])
def test_a_size_that_measures_nothing_is_refused(number: str) -> None:
    with pytest.raises(CommandError, match="from 500 to 200000"):
        call_command("bench", "pages", "--patients", number)
