"""What a scenario's faults come to. A reply's meaning is that of RFC 5321, 4.2.1: 4yz later perhaps, 5yz never."""

from datetime import datetime

import pytest

from tests.reminders.rehearsal.playing import calls, messages, patient, played, played_apart, week

pytestmark = pytest.mark.django_db

EARLY = "2027-03-02T14:00:00Z"
SENT = "2027-03-02T15:00:00Z"


def fault(**values: object) -> dict[str, object]:
    return {"at": EARLY, "what": "fault", "channel": "sms", **values}


def _first(lines: list[dict[str, object]]) -> dict[str, object]:
    return next(line for line in lines if line.get("kind") == "aftercare")


def test_a_passing_fault_is_tried_again_and_only_as_often_as_it_lasts() -> None:
    lines, _, handed = played(week(fault(reply=451, times=2)))
    row = _first(lines)
    assert (row["state"], row["attempts"], row["channel"], row["planned_for"]) == ("sent", 3, "sms", SENT)
    waited = datetime.fromisoformat(str(row["at"])) - datetime.fromisoformat(SENT)
    assert 2 <= waited.total_seconds() / 60 <= 6
    assert sum(one.outgoing.kind == "aftercare" for one in handed) == 1


def test_the_same_file_gives_the_same_lines_every_time() -> None:
    """Jitter and all."""
    assert played_apart(week(fault(reply=451, times=3)))[0] == played_apart(week(fault(reply=451, times=3)))[0]


def test_a_refused_number_is_left_for_the_other_channel_for_good() -> None:
    lines, _, handed = played(week(fault(reply=550)))
    row = _first(lines)
    assert (row["state"], row["channel"], row["to"], row["attempts"]) == ("sent", "email", "ada@example.org", 2)
    assert {one.channel for one in handed} == {"email"}
    assert calls(lines) == [("overdue", "a", "2027-03-08T05:00:00Z")]


def test_a_refused_number_without_another_channel_is_called_about() -> None:
    lines, _, handed = played(week(fault(reply=550), patients=[patient(email="")]))
    row = _first(lines)
    assert (row["state"], row["at"], row["attempts"], row["text"]) == ("failed", SENT, 1, "")
    assert ("undelivered", "a", SENT) in calls(lines)
    assert handed == []


@pytest.mark.parametrize("reply", ["timeout", "crash"])
def test_a_safety_message_nobody_heard_of_goes_once_more_with_the_same_key(reply: str) -> None:
    lines, _, handed = played(week(fault(reply=reply)))
    row = _first(lines)
    assert (row["state"], row["attempts"], row["at"]) == ("sent", 2, "2027-03-02T15:01:00Z")
    keys = [one.outgoing.key for one in handed if one.outgoing.kind == "aftercare"]
    assert (len(keys), len(set(keys))) == (2, 1)


def test_a_safety_message_twice_unheard_of_waits_for_a_person() -> None:
    lines, _, handed = played(week(fault(reply="timeout", times=2)))
    row = _first(lines)
    assert (row["state"], row["attempts"]) == ("uncertain", 2)
    assert ("uncertain", "a") in [(reason, about) for reason, about, _ in calls(lines)]
    assert sum(one.outgoing.kind == "aftercare" for one in handed) == 2


@pytest.mark.parametrize("reply", ["timeout", "crash"])
def test_any_other_message_nobody_heard_of_waits_for_a_person_at_once(reply: str) -> None:
    clinic = {"optional_messages": ["exercise_ok"]}
    lines, _, handed = played(week(fault(reply=reply, at="2027-03-02T15:10:00Z"), clinic=clinic))
    assert messages(lines, kind="exercise_ok")[0][1] == "uncertain"
    assert sum(one.outgoing.kind == "exercise_ok" for one in handed) == 1
    assert calls(lines)[0][:2] == ("uncertain", "a")


def test_a_fault_of_one_channel_does_not_touch_the_other() -> None:
    lines, _, _ = played(week(fault(reply=550, channel="email", times=100)))
    assert {line["channel"] for line in lines if line.get("state") == "sent"} == {"sms"}


def test_a_crash_stops_the_others_of_its_tick_until_the_next_process() -> None:
    """Both patients' messages are due at 15:00; the process dies with the first, and the second waits for its lease."""
    two = [patient(), patient(ref="q", phone="+12125550124", email="")]
    apps = [
        {"ref": "a", "patient": "p", "region": "knee", "applied_at": SENT},
        {"ref": "b", "patient": "q", "region": "knee", "applied_at": SENT},
    ]
    lines, _, handed = played(week(fault(reply="crash"), patients=two, applications=apps))
    rows = [(row["application"], row["at"], row["attempts"]) for row in lines if row.get("kind") == "aftercare"]
    assert rows == [("a", "2027-03-02T15:01:00Z", 2), ("b", "2027-03-02T15:01:00Z", 1)]
    assert sum(one.outgoing.kind == "aftercare" for one in handed) == 3
