"""An invented clinic over a long time: seeded, so that the same number is the same clinic.

One therapist tapes everybody, and nobody has a visit but for taking a tape off. Patients end their tapes early, late or
never, they stop and start their messages; there are mail servers and gateways on bad days, hours without a ticker, and
whatever the clocks do meanwhile.
"""

import random
from collections.abc import Iterator
from datetime import UTC, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

ZONE = ZoneInfo("America/New_York")
FIRST = datetime(2027, 1, 4, tzinfo=ZONE)
"""A Monday. Clocks go forward on 14 March 2027 and back on 7 November 2027 (IANA tz database)."""
PLACES = [(region, side) for region in ("knee", "calf", "wrist", "elbow", "ankle") for side in ("left", "right")]
AREA_CODES = ("212", "646", "718", "917", "347", "929", "202", "310", "312", "415", "617", "713", "215", "305", "404")
TICK_SECONDS = 900
_DAY = timedelta(days=1)

Part = dict[str, Any]


def at(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def scenario(*, seed: int, applications: int, days: int, first: datetime = FIRST) -> Part:
    """The clinic's file: so many tapes over so many days, and ten days more to see them off."""
    chance = random.Random(seed)
    patients = [_patient(number, chance) for number in range(min(1500, max(4, applications // 4)))]
    tapes = list(_tapes(chance, patients, applications, days, first))
    last = first + (days + 10) * _DAY
    events = [*_endings(chance, tapes), *_texts(chance, patients, days, first), *_bad_days(chance, days, first)]
    return {
        "clinic": {"time_zone": ZONE.key, "optional_messages": ["removal_eve"]},
        "from": at(first),
        "until": at(last),
        "tick_seconds": TICK_SECONDS,
        "patients": patients,
        "applications": [{name: value for name, value in tape.items() if name != "on"} for tape in tapes],
        "events": [event for event in events if datetime.fromisoformat(event["at"]) < last],
    }


def _patient(number: int, chance: random.Random) -> Part:
    area, line = AREA_CODES[number // 100], 100 + number % 100
    return {
        "ref": f"p{number}",
        "name": "Ada Quill",
        "call_me": "Ada",
        "phone": f"+1{area}555{line:04d}" if chance.random() < 0.9 else "",
        "email": f"p{number}@example.org" if chance.random() < 0.6 else "",
        "prefers": chance.choice(["sms", "email"]),
        "consents": chance.random() < 0.93,
        "time_zone": "America/Los_Angeles" if chance.random() < 0.05 else None,
    }


def _tapes(chance: random.Random, patients: list[Part], number: int, days: int, first: datetime) -> Iterator[Part]:
    """On working days at quarters of the hour; one patient's next tape goes to another place."""
    for count in range(number):
        day = first + chance.randrange(days) * _DAY
        while day.weekday() > 4:
            day += _DAY
        on = datetime.combine(day.date(), time(8), ZONE) + chance.randrange(36) * timedelta(minutes=15)
        region, side = PLACES[(count // len(patients)) % len(PLACES)]
        yield {
            "ref": f"a{count}",
            "patient": patients[count % len(patients)]["ref"],
            "region": region,
            "side": side,
            "applied_at": at(on),
            "on": on,
            "removal": chance.choice(["home", "home", "home", "helper", "clinic"]),
            "caution": chance.random() < 0.2,
        }


def _endings(chance: random.Random, tapes: list[Part]) -> Iterator[Part]:
    """Most end inside their window, some early, some late, and one in twelve is never heard of."""
    for tape in tapes:
        hours = chance.choices([(2, 90), (90, 136), (136, 230)], [0.25, 0.55, 0.2])[0]
        ended = tape["on"] + timedelta(minutes=15 * round(chance.uniform(*hours) * 4))
        if chance.random() < 0.92:
            yield {"at": at(ended), "what": chance.choice(["off", "off", "came_off"]), "application": tape["ref"]}
        if chance.random() < 0.04:
            reported = tape["on"] + timedelta(hours=chance.uniform(1, 60))
            yield {"at": at(reported), "what": "skin_report", "application": tape["ref"], "signs": ["itching"]}
        if chance.random() < 0.03:
            asked = tape["on"] + timedelta(hours=chance.uniform(1, 100))
            yield {"at": at(asked), "what": "call_back", "application": tape["ref"]}


def _texts(chance: random.Random, patients: list[Part], days: int, first: datetime) -> Iterator[Part]:
    for patient in patients:
        if patient["phone"] and chance.random() < 0.15:
            stopped = first + timedelta(minutes=chance.randrange(days * 24 * 60))
            yield {"at": at(stopped), "what": "sms", "patient": patient["ref"], "text": "Stop."}
            if chance.random() < 0.5:
                again = stopped + timedelta(minutes=chance.randrange(20 * 24 * 60))
                yield {"at": at(again), "what": "sms", "patient": patient["ref"], "text": "START"}


def _bad_days(chance: random.Random, days: int, first: datetime) -> Iterator[Part]:
    """Every fortnight or so the ticker stands still, sometimes over midnight or both; faults come more often."""
    day = first + chance.randrange(5) * _DAY
    while day < first + days * _DAY:
        begins = day + timedelta(minutes=15 * chance.randrange(96))
        yield {"at": at(begins), "what": "outage", "until": at(begins + timedelta(minutes=chance.randrange(10, 2800)))}
        for _ in range(6):
            fault = {"channel": chance.choice(["sms", "email"]), "times": chance.randrange(1, 4)}
            reply = chance.choice([451, 550, "timeout", "crash"])
            yield {
                "at": at(day + timedelta(minutes=chance.randrange(20_000))),
                "what": "fault",
                "reply": reply,
                **fault,
            }
        day += chance.randrange(8, 20) * _DAY
