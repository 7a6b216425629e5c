"""The limits of the clinic's numbers, and hours as they are written."""

from datetime import date, time
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from clinic.forms.settings import BOUNDS, OPTIONAL, SOURCES, ClinicForm, ClosureForm, spans_read, spans_shown
from reminders.rules.kinds import MessageKind
from taping.rules.policy import BOUNDS as RULES

GOOD = {
    "name": "Harbour Lane", "telephone": "(212) 555-0100", "emergency_number": "911", "out_of_hours_advice": "Call.",
    "time_zone": "America/New_York", "country": "us", "units": "cm", "adhesion_minutes": "20", "water_minutes": "60",
    "wear_first_day": "4", "wear_last_day": "5", "skin_rest_hours": "24", "quiet_from": "21:00",
    "quiet_until": "08:00", "optional_messages": ["removal_eve"],
}  # fmt: skip


def wrong(**changed: Any) -> list[str]:
    return list(ClinicForm({**GOOD, **changed}).errors)


def test_usual_numbers_are_taken() -> None:
    form = ClinicForm(GOOD)
    assert form.is_valid(), form.errors
    assert (form.cleaned_data["country"], form.cleaned_data["quiet_from"]) == ("US", time(21))


def test_a_part_of_the_country_is_one_of_the_country_typed() -> None:
    assert wrong(country="gb", region="SCT") == wrong(region="CA") == wrong(country="ZZ", region="") == []
    assert wrong(country="GB", region="CA") == wrong(country="ZZ", region="SCT") == ["region"]
    offered = ClinicForm({**GOOD, "country": "gb", "region": "CA"})["region"]
    names = [str(one.data["label"]) for one in offered.subwidgets]
    assert names == ["The whole country", "England", "Northern Ireland", "Scotland", "Wales"]


def test_where_the_numbers_come_from_is_what_the_rules_say() -> None:
    names = {"wear_first_day": "first_day", "wear_last_day": "last_day"}
    assert {name: RULES[names.get(name, name)].source for name in BOUNDS} == SOURCES
    assert [label for label, _ in ClinicForm(GOOD).sources()][:2] == [
        "Adhesion wait before easy movement",
        "Wait before sweat and water",
    ]


def test_the_limits_are_those_of_the_rules() -> None:
    """The page and the rules for time must never disagree about what a clinic may set."""
    names = {"wear_first_day": "first_day", "wear_last_day": "last_day"}
    theirs = {name: RULES[names.get(name, name)] for name in BOUNDS}
    assert {name: (bound.least, bound.greatest) for name, bound in theirs.items()} == BOUNDS


def test_what_can_be_switched_is_what_the_rules_call_optional() -> None:
    assert {key for key, _ in OPTIONAL} == {kind.value for kind in MessageKind if kind.is_optional}


@pytest.mark.parametrize("name", list(BOUNDS))
def test_one_past_each_limit_is_refused(name: str) -> None:
    least, greatest = BOUNDS[name]
    for value in (least - 1, greatest + 1, "", "many", "1e3"):
        assert name in wrong(**{name: str(value)})


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"wear_first_day": "5", "wear_last_day": "4"}, "wear_last_day"),
        ({"quiet_from": "08:00"}, "quiet_until"),
        ({"adhesion_minutes": "90"}, "water_minutes"),
        ({"time_zone": "New York"}, "time_zone"),
        ({"country": "USA"}, "country"),
        ({"country": "1!"}, "country"),
        ({"emergency_number": ""}, "emergency_number"),
        ({"out_of_hours_advice": " "}, "out_of_hours_advice"),
        ({"quiet_from": "25:00"}, "quiet_from"),
        ({"optional_messages": ["removal_morning"]}, "optional_messages"),
    ],
)
def test_what_cannot_be_is_said_at_its_field(changed: dict[str, Any], field: str) -> None:
    assert wrong(**changed) == [field]


@pytest.mark.parametrize(
    ("text", "spans"),
    [
        ("08:00-12:00, 13:00-18:00", [(time(8), time(12)), (time(13), time(18))]),
        ("13:00 – 18:00; 8.30 to 12.00", [(time(8, 30), time(12)), (time(13), time(18))]),
        ("", []),
    ],
)
def test_hours_are_read_as_people_write_them(text: str, spans: list[tuple[time, time]]) -> None:
    assert spans_read(text) == spans
    assert spans_read(spans_shown(spans)) == spans


@pytest.mark.parametrize("text", ["8-12", "18:00-08:00", "08:00-08:00", "08:00-12:00, 11:00-14:00", "24:30-25:00", "x"])
def test_hours_that_cannot_be_are_refused(text: str) -> None:
    with pytest.raises(ValidationError):
        spans_read(text)


@pytest.mark.parametrize(
    ("day", "fine"), [("2027-03-10", True), ("2027-03-09", False), ("25/12/2027", False), ("", False)]
)
def test_only_days_to_come_are_closed(day: str, fine: bool) -> None:
    assert ClosureForm({"day": day, "reason": "Holiday"}, today=date(2027, 3, 10)).is_valid() is fine
