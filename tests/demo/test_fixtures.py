"""The files of the demo can be read by people and by the program."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from clinic.models import Patient, User
from reminders.demo.reading import Fixtures, Row, fixtures_read, moment_of
from taping.rules.places import REGIONS
from taping.rules.report_signs import SIGN_BY_KEY
from taping.rules.skin_questions import QUESTION_BY_KEY

NOW = datetime(2027, 3, 14, 16, 30, tzinfo=UTC)
"""12:30 in New York, on the day its clocks went forward (IANA tz database)."""
NEW_YORK = ZoneInfo("America/New_York")


@pytest.fixture(scope="module")
def files() -> Fixtures:
    return fixtures_read()


@pytest.mark.parametrize(
    ("row", "when"),
    [
        ({"minutes_ago": 6}, NOW - timedelta(minutes=6)),
        ({"hours_ago": 2}, NOW - timedelta(hours=2)),
        ({"days_ago": 0, "at": "09:00"}, datetime(2027, 3, 14, 13, 0, tzinfo=UTC)),
        ({"days_ago": 1, "at": "09:00"}, datetime(2027, 3, 13, 14, 0, tzinfo=UTC)),
        ({"in_days": 2, "at": "10:30"}, datetime(2027, 3, 16, 14, 30, tzinfo=UTC)),
    ],
)
def test_times_are_the_clinics_and_days_count_from_today(row: Row, when: datetime) -> None:
    assert moment_of(row, now=NOW, zone=NEW_YORK) == when


def test_names_are_given_once(files: Fixtures) -> None:
    for rows, key in ((files.patients, "ref"), (files.staff, "username"), (files.story["tape"], "ref")):
        names = [row[key] for row in rows]
        assert sorted(set(names)) == sorted(names)


def test_the_story_tells_only_of_people_and_tape_there_are(files: Fixtures) -> None:
    patients, staff = {row["ref"] for row in files.patients}, {row["username"] for row in files.staff}
    tapes = {row["ref"] for row in files.story["tape"]}
    for rows in files.story.values():
        assert {row["patient"] for row in rows if "patient" in row} <= patients
        assert {row["tape"] for row in rows if "tape" in row} <= tapes
        assert {row[key] for row in rows for key in ("by", "therapist", "supervisor") if key in row} <= staff


def test_places_signs_and_answers_are_those_of_the_rules(files: Fixtures) -> None:
    for row in [*files.story["tape"], *files.story["hold"]]:
        assert row["side"] in REGIONS[row["region"]].sides
        assert {*row.get("cautions", []), *row.get("stops", [])} <= set(QUESTION_BY_KEY)
    assert {sign for row in files.story["report"] for sign in row["signs"]} <= set(SIGN_BY_KEY)


def test_every_caution_has_the_note_that_goes_with_it(files: Fixtures) -> None:
    assert [row["ref"] for row in files.story["tape"] if row.get("cautions") and not row.get("note")] == []


def test_names_of_fields_are_those_of_the_tables(files: Fixtures) -> None:
    fields = {field.name for field in Patient._meta.get_fields()} | {"ref", "helper"}
    assert {key for row in files.patients for key in row} <= fields
    marks = {field.name for field in User._meta.get_fields()}
    assert {f"is_{role}" for row in files.staff for role in row["roles"]} <= marks


def test_passwords_are_long_enough_for_the_clinics_own_rule(files: Fixtures) -> None:
    assert [row["username"] for row in files.staff if len(row["password"]) < 15] == []
