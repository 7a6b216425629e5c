"""A file that cannot be played is refused in one line that names the key."""

import json
from typing import Any

import pytest

from reminders.rehearsal.parts import BadScenario
from reminders.rehearsal.reading import read_scenario, read_text
from tests.reminders.rehearsal.playing import PATIENT, TAPE, patient, tape, week

AT = "2027-03-03T15:00:00Z"
LATER = "2027-03-04T15:00:00Z"
HIS = {"ref": "v", "patient": "q", "application": "a", "starts_at": "2027-03-05T15:00:00Z"}
VISIT = {"ref": "v", "patient": "p", "starts_at": "2027-03-05T15:00:00Z"}


def _without(part: dict[str, Any], key: str) -> dict[str, Any]:
    return {name: value for name, value in part.items() if name != key}


def _event(**values: Any) -> dict[str, Any]:
    return week({"at": AT, **values})


BAD: list[tuple[Any, str]] = [
    ([], "the file"),
    ({}, "from"),
    (week(more=1), "more"),
    (week(**{"from": "yesterday"}), "from"),
    (week(**{"from": "2027-13-02T10:00:00Z"}), "from"),
    (week(**{"from": 5}), "from"),
    (week(**{"from": "9999-12-31T10:00:00-10:00"}), "from"),
    (week(until="2027-03-02T12:59:59Z"), "until"),
    (week(until="2037-03-02T12:59:59Z"), "until"),
    (week(tick_seconds=0), "tick_seconds"),
    (week(tick_seconds=60.0), "tick_seconds"),
    (week(tick_seconds=True), "tick_seconds"),
    (week(tick_seconds="60"), "tick_seconds"),
    (week(clinic=[]), "clinic"),
    (week(clinic={"zone": "UTC"}), "clinic.zone"),
    (week(clinic={"time_zone": "Mars/Olympus"}), "clinic.time_zone"),
    (week(clinic={"time_zone": "../UTC"}), "clinic.time_zone"),
    (week(clinic={"time_zone": None}), "clinic.time_zone"),
    (week(clinic={"quiet_from": "08:00"}), "clinic.quiet_until"),
    (week(clinic={"quiet_from": "24:00"}), "clinic.quiet_from"),
    (week(clinic={"quiet_until": 8}), "clinic.quiet_until"),
    (week(clinic={"closed_on": "2027-03-05"}), "clinic.closed_on"),
    (week(clinic={"closed_on": ["2027-03-05", "2027-02-29"]}), "clinic.closed_on[1]"),
    (week(clinic={"open": {"monday": ["08:00", "18:00"]}}), "clinic.open.monday"),
    (week(clinic={"open": {"mon": ["18:00", "08:00"]}}), "clinic.open.mon"),
    (week(clinic={"open": {"mon": ["08:00", "6pm"]}}), "clinic.open.mon[1]"),
    (week(clinic={"adhesion_wait_minutes": 19}), "clinic.adhesion_wait_minutes"),
    (week(clinic={"wear_last_day": 8}), "clinic.wear_last_day"),
    (week(clinic={"wear_first_day": 6}), "clinic.wear_first_day"),
    (week(clinic={"wear_first_day": 5, "wear_last_day": 3}), "clinic.wear_last_day"),
    (week(clinic={"optional_messages": ["aftercare"]}), "clinic.optional_messages[0]"),
    (week(patients={}), "patients"),
    (week(patients=["p"]), "patients[0]"),
    (week(patients=[_without(PATIENT, "name")]), "patients[0].name"),
    (week(patients=[_without(PATIENT, "ref")]), "patients[0].ref"),
    (week(patients=[patient(ref=" ")]), "patients[0].ref"),
    (week(patients=[patient(), patient()]), "patients[1].ref"),
    (week(patients=[patient(name="Ada\u0000Quill")]), "patients[0].name"),
    (week(patients=[patient(name="\ud800")]), "patients[0].name"),
    (week(patients=[patient(phone="555-0123")]), "patients[0].phone"),
    (week(patients=[patient(phone=12125550123)]), "patients[0].phone"),
    (week(patients=[patient(email="ada")]), "patients[0].email"),
    (week(patients=[patient(prefers="fax")]), "patients[0].prefers"),
    (week(patients=[patient(consents="yes")]), "patients[0].consents"),
    (week(patients=[patient(time_zone="EDT5")]), "patients[0].time_zone"),
    (week(patients=[patient(born="1985-04-03")]), "patients[0].born"),
    (week(applications=[_without(TAPE, "applied_at")]), "applications[0].applied_at"),
    (week(applications=[_without(TAPE, "region")]), "applications[0].region"),
    (week(applications=[tape(patient="q")]), "applications[0].patient"),
    (week(applications=[tape(), tape()]), "applications[1].ref"),
    (week(applications=[tape(region="ear")]), "applications[0].region"),
    (week(applications=[tape(side="both")]), "applications[0].side"),
    (week(applications=[tape(side="midline")]), "applications[0].side"),
    (week(applications=[tape(removal="nobody")]), "applications[0].removal"),
    (week(applications=[tape(caution=1)]), "applications[0].caution"),
    (week(applications=[tape(applied_at="2027-03-14T02:30")]), "applications[0].applied_at"),
    (week(applications=[tape(applied_at="2027-11-07T01:30")]), "applications[0].applied_at"),
    (week(applications=[tape(applied_at="2027-03-02")]), "applications[0].applied_at"),
    (week(visits=[_without(VISIT, "starts_at")]), "visits[0].starts_at"),
    (week(visits=[{**VISIT, "patient": "q"}]), "visits[0].patient"),
    (week(visits=[{**VISIT, "application": "b"}]), "visits[0].application"),
    (week(visits=[{**VISIT, "minutes": 0}]), "visits[0].minutes"),
    (week(visits=[VISIT, VISIT]), "visits[1].ref"),
    (week(patients=[patient(), patient(ref="q")], visits=[HIS]), "visits[0].application"),
    (week({"what": "off", "application": "a"}), "events[0].at"),
    (week({"at": AT}), "events[0].what"),
    (_event(what="explode"), "events[0].what"),
    (_event(what="off"), "events[0].application"),
    (_event(what="off", application="b"), "events[0].application"),
    (_event(what="off", application="a", signs=[]), "events[0].signs"),
    (week({"at": "2027-03-02T14:59:59Z", "what": "off", "application": "a"}), "events[0].at"),
    (_event(what="skin_report", application="a", signs=["itching", "spots"]), "events[0].signs[1]"),
    (_event(what="skin_report", application="a", signs="itching"), "events[0].signs"),
    (_event(what="sms", patient="q", text="STOP"), "events[0].patient"),
    (_event(what="sms", patient="p", text=1), "events[0].text"),
    (_event(what="book", **_without(VISIT, "ref")), "events[0].ref"),
    (_event(what="move", visit="v", starts_at=AT), "events[0].visit"),
    (_event(what="cancel", visit="v"), "events[0].visit"),
    (week({"at": AT, "what": "cancel", "visit": "v"}, {"at": LATER, "what": "book", **VISIT}), "events[0].at"),
    (_event(what="outage"), "events[0].until"),
    (_event(what="outage", until=AT), "events[0].until"),
    (_event(what="fault", reply=452), "events[0].reply"),
    (_event(what="fault", reply=451.0), "events[0].reply"),
    (_event(what="fault", channel="fax"), "events[0].channel"),
    (_event(what="fault", times=0), "events[0].times"),
    (_event(what="edit", application="a"), "events[0]"),
    (_event(what="edit", application="a", name="x"), "events[0].name"),
]  # fmt: skip


@pytest.mark.parametrize(("value", "path"), BAD, ids=lambda part: part if isinstance(part, str) else "")
def test_a_bad_file_is_refused_by_the_key_that_is_wrong(value: Any, path: str) -> None:
    with pytest.raises(BadScenario) as refused:
        read_scenario(value)
    text = str(refused.value)
    assert (refused.value.path, text.startswith(f"{path}: "), "\n" in text, text.isprintable()) == (
        path,
        True,
        False,
        True,
    )


@pytest.mark.parametrize(
    ("text", "path"),
    [
        ("", "the file"),
        ("{", "the file"),
        ("[" * 100_000, "the file"),
        ('{"tick_seconds": NaN}', "the file"),
        ('{"tick_seconds": ' + "9" * 5000 + "}", "the file"),
        ('{"from": "2027-03-02T13:00:00Z", "from": "2027-03-02T13:00:00Z"}', "from"),
    ],
    ids=["empty", "cut off", "too deep", "no number", "too long", "twice"],
)
def test_what_is_no_json_is_refused(text: str, path: str) -> None:
    with pytest.raises(BadScenario) as refused:
        read_text(text)
    assert (refused.value.path, "\n" in str(refused.value)) == (path, False)


def test_everything_but_the_least_has_a_default() -> None:
    """The clock begins with the first thing that happens and runs for sixteen days."""
    least = {
        "patients": [{"ref": "p", "name": "Ada Quill"}],
        "applications": [{"ref": "a", "patient": "p", "region": "neck", "applied_at": "2027-03-02T10:00"}],
    }
    read = read_scenario(json.loads(json.dumps(least)))
    assert (read.starts_at.isoformat(), (read.ends_at - read.starts_at).days, read.tick.seconds) == (
        "2027-03-02T15:00:00+00:00",
        16,
        60,
    )
    assert (read.applications[0].side, read.applications[0].removal, read.patients[0].prefers) == (
        "left",
        "home",
        "sms",
    )
    assert (read.clinic.wear_first_day, read.clinic.wear_last_day, sorted(read.clinic.hours)) == (4, 5, [0, 1, 2, 3, 4])


def test_a_time_without_an_offset_is_the_clinics() -> None:
    """Also where the patient lives in another zone: 10:00 in New York on 15 March 2027 is 14:00 UTC."""
    abroad = {"patients": [patient(time_zone="Asia/Tokyo")], "applications": [tape(applied_at="2027-03-15T10:00")]}
    scenario = week(**abroad, until="2027-03-20T00:00Z")
    assert read_scenario(scenario).applications[0].applied_at.isoformat() == "2027-03-15T14:00:00+00:00"


def test_both_readings_of_a_repeated_hour_can_be_said_with_an_offset() -> None:
    """New York, 7 November 2027: 01:30 is 05:30 UTC and an hour later 06:30 UTC (IANA tz database)."""
    for written, read in (("2027-11-07T01:30-04:00", "05:30"), ("2027-11-07T01:30-05:00", "06:30")):
        found = read_scenario(week(applications=[tape(applied_at=written)], **{"from": written, "until": written}))
        assert found.applications[0].applied_at.isoformat() == f"2027-11-07T{read}:00+00:00"
