"""Each kind of event has the effect it would have in earnest. Times are New York's, five hours behind UTC."""

import pytest

from reminders.models import Message
from taping.models import Application
from tests.reminders.rehearsal.playing import calls, messages, patient, played, played_apart, tape, tapes, week

pytestmark = pytest.mark.django_db

OFF = "2027-03-05T16:00:00Z"
VISIT = {"ref": "v", "patient": "p", "application": "a", "starts_at": "2027-03-06T15:00:00Z", "minutes": 20}


def test_nobody_answers() -> None:
    """Window 6 and 7 March: reminders on the 7th, 8th and 9th; overdue from midnight of the 8th."""
    lines, told, handed = played(week())
    assert messages(lines) == [
        ("aftercare", "sent", "2027-03-02T15:00:00Z"),
        ("skin_check", "sent", "2027-03-04T15:00:00Z"),
        ("removal_day", "sent", "2027-03-07T14:00:00Z"),
        ("removal_overdue", "sent", "2027-03-08T15:00:00Z"),
        ("removal_overdue", "sent", "2027-03-09T15:00:00Z"),
    ]
    assert (tapes(lines), calls(lines)) == (
        [("a", "overdue", None, None)],
        [("overdue", "a", "2027-03-08T05:00:00Z")],
    )
    assert (told, len(handed)) == ([], 5)


@pytest.mark.parametrize("what", ["off", "came_off"])
def test_the_end_drops_what_was_to_come_and_asks_about_the_skin_a_day_later(what: str) -> None:
    again = {"at": "2027-03-05T18:00:00Z", "what": "came_off", "application": "a"}
    lines, _, _ = played(week({"at": OFF, "what": what, "application": "a"}, again))
    assert tapes(lines) == [("a", "off", OFF, what)]
    assert messages(lines)[2:] == [
        ("removal_day", "dropped", OFF),
        ("removal_overdue", "dropped", OFF),
        ("removal_overdue", "dropped", OFF),
        ("skin_follow_up", "sent", "2027-03-06T16:00:00Z"),
    ]


def test_a_skin_report_is_called_about_and_ends_no_tape() -> None:
    lines, _, _ = played(week({"at": OFF, "what": "skin_report", "application": "a", "signs": ["itching", "rash"]}))
    assert calls(lines)[0] == ("skin_report", "a", OFF)
    assert tapes(lines) == [("a", "overdue", None, None)]
    assert Application.objects.get().skin_reports.get().signs == ["itching", "rash"]


def test_a_call_back_is_called_about() -> None:
    lines, _, _ = played(week({"at": OFF, "what": "call_back", "application": "a"}))
    assert calls(lines)[0] == ("call_back", "a", OFF)


def test_stop_is_confirmed_once_and_the_patient_is_called_about_while_the_tape_is_on() -> None:
    stop = {"at": OFF, "what": "sms", "patient": "p", "text": "Stop, please."}
    lines, _, _ = played(week(stop, {**stop, "at": "2027-03-05T16:05:00Z"}))
    assert messages(lines, kind="stop_confirmed") == [("stop_confirmed", "sent", OFF)]
    assert messages(lines, kind="removal_day") == [("removal_day", "dropped", OFF)]
    assert ("unreachable", "a", OFF) in calls(lines)


def test_start_brings_back_what_is_still_to_come() -> None:
    stop = {"at": OFF, "what": "sms", "patient": "p", "text": "STOP"}
    lines, _, _ = played(week(stop, {**stop, "at": "2027-03-05T17:00:00Z", "text": "start"}))
    assert messages(lines, kind="removal_day") == [("removal_day", "sent", "2027-03-07T14:00:00Z")]
    assert calls(lines) == [("overdue", "a", "2027-03-08T05:00:00Z")]


def test_off_by_text_ends_the_only_tape() -> None:
    lines, _, _ = played(week({"at": OFF, "what": "sms", "patient": "p", "text": "off"}))
    assert tapes(lines) == [("a", "off", OFF, "off")]


def test_off_by_text_with_two_tapes_and_any_other_text_go_to_a_person() -> None:
    two = [tape(), tape(ref="b", side="right")]
    lines, _, _ = played_apart(week({"at": OFF, "what": "sms", "patient": "p", "text": "off"}, applications=two))
    other, _, _ = played_apart(week({"at": OFF, "what": "sms", "patient": "p", "text": "please stop the pain"}))
    assert ("reply", None, OFF) in calls(lines)
    assert ("reply", "a", OFF) in calls(other)
    assert [state for _, state, _, _ in tapes(lines)] == ["overdue", "overdue"]


def test_a_removal_visit_moves_the_removal_day_and_its_message() -> None:
    """Saturday 6 March, 10:00: the reminder 24 hours before, the removal words at 09:00 that day."""
    lines, told, _ = played(week(visits=[VISIT], applications=[tape(removal="clinic")]))
    assert [line["removal_day"] for line in lines if line["type"] == "application"] == ["2027-03-06"]
    assert messages(lines)[:5] == [
        ("visit_booked", "sent", "2027-03-02T15:00:00Z"),
        ("aftercare", "sent", "2027-03-02T15:00:00Z"),
        ("skin_check", "sent", "2027-03-04T15:00:00Z"),
        ("visit_reminder", "sent", "2027-03-05T15:00:00Z"),
        ("removal_day", "sent", "2027-03-06T14:00:00Z"),
    ]
    assert {line["application"] for line in lines if line.get("kind", "").startswith("visit")} == {"a"}
    assert told == []


def test_book_move_and_cancel_are_each_said_and_the_removal_day_follows() -> None:
    book = {"at": "2027-03-03T15:00:00Z", "what": "book", **VISIT}
    move = {"at": "2027-03-03T16:00:00Z", "what": "move", "visit": "v", "starts_at": "2027-03-07T15:00:00Z"}
    cancel = {"at": "2027-03-03T17:00:00Z", "what": "cancel", "visit": "v"}
    lines, told, _ = played(week(cancel, move, book))
    said = [row for row in messages(lines) if row[0].startswith("visit") and row[1] == "sent"]
    assert said == [
        ("visit_booked", "sent", "2027-03-03T15:00:00Z"),
        ("visit_changed", "sent", "2027-03-03T16:00:00Z"),
        ("visit_cancelled", "sent", "2027-03-03T17:00:00Z"),
    ]
    assert [line["removal_day"] for line in lines if line["type"] == "application"] == ["2027-03-07"]
    assert told == []


def test_a_visit_without_a_tape_is_booked_from_the_beginning_and_names_none() -> None:
    lines, _, _ = played(week(visits=[{**VISIT, "application": None}], applications=[]))
    rows = [(one["kind"], one["application"], one["at"]) for one in lines]
    assert rows == [("visit_booked", None, "2027-03-02T13:00:00Z"), ("visit_reminder", None, "2027-03-05T15:00:00Z")]


def test_an_edit_with_a_caution_brings_the_check_of_the_first_day() -> None:
    edit = {"at": "2027-03-02T16:00:00Z", "what": "edit", "application": "a", "caution": True, "removal": "helper"}
    lines, told, _ = played(week(edit))
    assert messages(lines, kind="skin_check") == [
        ("skin_check", "sent", "2027-03-03T15:00:00Z"),
        ("skin_check", "sent", "2027-03-04T15:00:00Z"),
    ]
    assert told == []
    assert Application.objects.get().removal == "helper"


def test_an_edited_time_moves_the_wait_that_still_runs() -> None:
    edit = {"at": "2027-03-02T15:05:00Z", "what": "edit", "application": "a", "applied_at": "2027-03-02T14:50:00Z"}
    clinic = {"optional_messages": ["exercise_ok"]}
    lines, _, _ = played(week(edit, clinic=clinic))
    assert messages(lines, kind="exercise_ok") == [("exercise_ok", "sent", "2027-03-02T15:10:00Z")]


def test_the_place_of_a_tape_is_not_edited_and_a_second_tape_there_is_refused() -> None:
    edit = {"at": OFF, "what": "edit", "application": "a", "side": "right"}
    twice = [tape(), tape(ref="b", applied_at="2027-03-03T15:00:00Z")]
    off = {"at": "2027-03-04T15:00:00Z", "what": "off", "application": "b"}
    lines, told, _ = played(week(edit, off, applications=twice))
    assert told == [
        "applications[1]: There is tape on this place already. Record its end first, then tape again.",
        "events[1]: The tape 'b' never went on.",
        "events[0]: The place of a tape cannot be changed; end it and record it anew.",
    ]
    assert tapes(lines) == [("a", "overdue", None, None)]


def test_in_an_outage_things_happen_and_nothing_goes() -> None:
    """Down from 08:55 to 09:20 on the removal day: one message at 09:20, and none for a tape ended meanwhile."""
    down = {"at": "2027-03-07T13:55:00Z", "what": "outage", "until": "2027-03-07T14:20:00Z"}
    lines, _, _ = played_apart(week(down))
    ended, _, _ = played_apart(week(down, {"at": "2027-03-07T14:10:00Z", "what": "off", "application": "a"}))
    assert messages(lines, kind="removal_day") == [("removal_day", "sent", "2027-03-07T14:20:00Z")]
    assert messages(ended, kind="removal_day") == [("removal_day", "dropped", "2027-03-07T14:20:00Z")]
    assert tapes(ended) == [("a", "off", "2027-03-07T14:10:00Z", "off")]


def test_after_three_days_of_outage_nothing_useless_goes() -> None:
    """Down from the evening of 6 March to noon of the 9th: what was due on the 7th and 8th is missed."""
    down = {"at": "2027-03-07T01:00:00Z", "what": "outage", "until": "2027-03-09T17:00:00Z"}
    lines, _, _ = played(week(down))
    assert messages(lines)[2:] == [
        ("removal_day", "missed", "2027-03-09T17:00:00Z"),
        ("removal_overdue", "missed", "2027-03-09T17:00:00Z"),
        ("removal_overdue", "sent", "2027-03-09T17:00:00Z"),
    ]
    assert calls(lines) == [("overdue", "a", "2027-03-08T05:00:00Z")]


def test_two_tapes_of_one_patient_are_spoken_of_together() -> None:
    lines, _, handed = played(week(applications=[tape(), tape(ref="b", side="right")]))
    rows = [(one["application"], one["state"], one["joined_to"]) for one in lines if one.get("kind") == "removal_day"]
    assert rows == [("a", "sent", None), ("b", "sent", "a")]
    assert sum(one.outgoing.kind == "removal_day" for one in handed) == 1


def test_nobody_without_consent_or_address_is_written_to_and_somebody_calls() -> None:
    silent = [patient(consents=False), patient(ref="q", phone="", email="")]
    lines, _, handed = played(week(patients=silent, applications=[tape(), tape(ref="b", patient="q")]))
    assert handed == []
    assert sorted(row for row in calls(lines) if row[0] == "unreachable") == [
        ("unreachable", "a", "2027-03-07T05:00:00Z"),
        ("unreachable", "b", "2027-03-07T05:00:00Z"),
    ]
    assert not Message.objects.filter(state="sent").exists()


def test_a_patients_own_clock_decides_the_hour_and_the_clinics_calendar_the_day() -> None:
    """Los Angeles, three hours behind: 09:00 there is 17:00 UTC on 7 March."""
    lines, _, _ = played(week(patients=[patient(time_zone="America/Los_Angeles")]))
    assert messages(lines, kind="removal_day") == [("removal_day", "sent", "2027-03-07T17:00:00Z")]
