"""The table for people, letter for letter."""

from typing import Any
from zoneinfo import ZoneInfo

from reminders.rehearsal.lines import write_json
from reminders.rehearsal.table import write_table

MESSAGE: dict[str, Any] = {
    "type": "message", "application": "a1", "patient": "p1", "kind": "removal_day", "channel": "sms",
    "to": "+12125550123", "planned_for": "2027-03-14T13:00:00Z", "at": "2027-03-14T13:00:00Z", "state": "sent",
    "reasons": ["day 5 of the wear window", "09:00 on the removal day"], "text": "…", "attempts": 1, "joined_to": None,
}  # fmt: skip
TAPE = {
    "type": "application", "ref": "a1", "opens_on": "2027-03-13", "closes_on": "2027-03-14",
    "removal_day": "2027-03-14", "state": "overdue", "ended_at": None, "ended_how": None,
}  # fmt: skip
CALL = {
    "type": "call", "patient": "p1", "application": "a1", "reason": "overdue", "since": "2027-03-15T04:00:00Z",
}  # fmt: skip


def _table(*lines: dict[str, Any], zone: str = "America/New_York") -> list[str]:
    written: list[str] = []
    write_table(lines, ZoneInfo(zone), written.append)
    return "".join(written).splitlines()


def test_a_message_says_when_what_about_whom_where_to_and_why() -> None:
    """13:00 UTC is 09:00 in New York, in the first hours after its clocks went forward (IANA tz database)."""
    assert _table(MESSAGE)[:4] == [
        "",
        "Sunday, 14 March 2027",
        "  09:00  removal day       p1, a1                                    text message to +12125550123",
        "         why: day 5 of the wear window; 09:00 on the removal day",
    ]


def test_days_are_those_of_the_zone() -> None:
    late = MESSAGE | {"at": "2027-03-15T03:30:00Z"}
    assert [line for line in _table(MESSAGE, late) if "March" in line] == ["Sunday, 14 March 2027"]
    assert [line for line in _table(MESSAGE, late, zone="UTC") if "March" in line] == [
        "Sunday, 14 March 2027",
        "Monday, 15 March 2027",
    ]


def test_what_did_not_go_says_so() -> None:
    dropped = MESSAGE | {"state": "dropped", "channel": None, "to": None, "reasons": ["the tape is off"]}
    assert _table(dropped)[2:5] == [
        "  09:00  removal day       p1, a1                                    ",
        "         no longer wanted",
        "         why: the tape is off",
    ]


def test_what_is_not_settled_yet_stands_at_its_planned_time() -> None:
    assert _table(MESSAGE | {"state": "planned", "at": None})[2].startswith("  09:00  removal day")


def test_what_was_said_in_one_names_the_other() -> None:
    assert "         said in one with that of a2" in _table(MESSAGE | {"joined_to": "a2"})


def test_tape_and_calls_stand_below() -> None:
    assert _table(TAPE, CALL)[-5:] == [
        "Tape at the end of this time",
        "  overdue  a1                           comes off 2027-03-14; wear window 2027-03-13 to 2027-03-14",
        "",
        "Whom to call at the end of this time",
        "  Tape should be off                   p1, a1                                   since Monday, 15 March, 00:00",
    ]


def test_nothing_at_all_says_so() -> None:
    assert _table() == [
        "",
        "No message goes in this time.",
        "",
        "Nobody is on the call list at the end of this time.",
    ]


def test_json_lines_are_ascii_whatever_is_in_them() -> None:
    written: list[str] = []
    write_json([{"to": "Åsa 🌊"}, {}], written.append)
    assert written == ['{"to": "\\u00c5sa \\ud83c\\udf0a"}\n', "{}\n"]
