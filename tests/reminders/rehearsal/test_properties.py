"""What must hold of any scenario whatever happens in it."""

from collections import Counter
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db.models import F
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from reminders.models import Message
from reminders.rehearsal.lines import Line
from reminders.rules.kinds import MessageKind
from tests.reminders.rehearsal.playing import played_apart

pytestmark = pytest.mark.django_db

START = datetime(2027, 3, 10, 12, 0, tzinfo=UTC)
NEW_YORK = ZoneInfo("America/New_York")
"""Clocks go forward on 14 March 2027 (IANA tz database), in the middle of most windows."""

SLOW = settings(
    deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture]
)
MINUTES = st.integers(0, 9 * 24 * 60)
EVENTS = st.one_of(
    st.fixed_dictionaries({"what": st.sampled_from(["off", "came_off", "call_back"]), "application": st.just("?")}),
    st.fixed_dictionaries({"what": st.just("skin_report"), "application": st.just("?"), "signs": st.just(["rash"])}),
    st.fixed_dictionaries({"what": st.just("edit"), "application": st.just("?"), "caution": st.booleans()}),
    st.fixed_dictionaries(
        {"what": st.just("sms"), "patient": st.just("p0"), "text": st.sampled_from(["STOP", "start", "off", "hello"])}
    ),
    st.fixed_dictionaries({"what": st.just("outage"), "hours": st.integers(1, 40)}),
    st.fixed_dictionaries(
        {
            "what": st.just("fault"),
            "channel": st.sampled_from(["sms", "email"]),
            "reply": st.sampled_from([451, 550, "timeout", "crash"]),
            "times": st.integers(1, 4),
        }
    ),
)


@st.composite
def scenarios(draw: st.DrawFn) -> dict[str, Any]:
    patients = [
        {
            "ref": f"p{number}",
            "name": "Ada Quill",
            "phone": draw(st.sampled_from(["", "+12125550123", "+12125550124"])),
            "email": draw(st.sampled_from(["", "ada@example.org"])),
            "consents": draw(st.booleans()),
            "time_zone": draw(st.sampled_from([None, "America/Los_Angeles", "Europe/London"])),
        }
        for number in range(2)
    ]
    tapes = [
        {
            "ref": f"a{number}",
            "patient": f"p{number % 2}",
            "region": ("knee", "calf", "wrist")[number],
            "applied_at": _at(draw(st.integers(0, 3 * 24 * 60))),
            "caution": draw(st.booleans()),
            "removal": draw(st.sampled_from(["home", "helper", "clinic"])),
        }
        for number in range(draw(st.integers(1, 3)))
    ]
    events = [_event(draw, tapes) for _ in range(draw(st.integers(0, 6)))]
    return {
        "clinic": {"optional_messages": ["exercise_ok", "removal_eve"]},
        "from": _at(0),
        "until": _at(draw(st.integers(3 * 24 * 60, 11 * 24 * 60))),
        "tick_seconds": draw(st.sampled_from([30, 60, 600])),
        "patients": patients,
        "applications": tapes,
        "events": events,
    }


def _event(draw: st.DrawFn, tapes: list[dict[str, Any]]) -> dict[str, Any]:
    event = {"at": _at(draw(MINUTES)), **draw(EVENTS)}
    if event.get("application"):
        tape = draw(st.sampled_from(tapes))
        event |= {"application": tape["ref"], "at": max(event["at"], tape["applied_at"])}
    if "hours" in event:
        event["until"] = _at(_minutes(event["at"]) + 60 * event.pop("hours"))
    return event


def _at(minutes: int) -> str:
    return (START + timedelta(minutes=minutes)).strftime("%Y-%m-%dT%H:%M:%SZ")


def _minutes(at: str) -> int:
    return int((datetime.fromisoformat(at) - START).total_seconds() // 60)


def _when(line: Line, key: str = "at") -> datetime:
    return datetime.fromisoformat(line[key])


@settings(SLOW, max_examples=12)
@given(scenario=scenarios())
def test_no_message_disturbs_comes_too_late_or_twice_and_no_tape_is_forgotten(scenario: dict[str, Any]) -> None:
    late: list[int] = []
    lines, _, handed = played_apart(scenario, then=lambda: late.extend(_after_their_use()))
    assert late == []
    zones = {one["ref"]: ZoneInfo(one["time_zone"] or "America/New_York") for one in scenario["patients"]}
    for line in (one for one in lines if one.get("state") == "sent" and one["kind"] != "stop_confirmed"):
        clock = _when(line).astimezone(zones[line["patient"]])
        assert 8 <= clock.hour < 21, line
    uses = {one.outgoing.key: one.outgoing for one in handed}
    counts = Counter(one.outgoing.key for one in handed)
    for key, times in counts.items():
        assert times <= 1 + MessageKind(uses[key].kind).is_safety, uses[key]
    _nobody_forgotten(lines, datetime.fromisoformat(scenario["until"]))


def _after_their_use() -> list[int]:
    sent = Message.objects.filter(state=Message.State.SENT, settled_at__gte=F("expires_at"))
    return list(sent.values_list("pk", flat=True))


def _nobody_forgotten(lines: list[Line], until: datetime) -> None:
    called = {line["application"] for line in lines if line["type"] == "call"}
    for line in (one for one in lines if one["type"] == "application"):
        ends = datetime.fromisoformat(line["closes_on"]).date() + timedelta(days=1)
        inside = until.astimezone(NEW_YORK).date() < ends
        assert line["ended_at"] or inside or line["ref"] in called, line


@settings(SLOW, max_examples=3)
@given(scenario=scenarios())
def test_ticks_passed_over_change_nothing(scenario: dict[str, Any]) -> None:
    short = scenario | {"until": _at(5 * 24 * 60), "tick_seconds": 3600}
    assert played_apart(short)[0] == played_apart(short, skip=False)[0]
