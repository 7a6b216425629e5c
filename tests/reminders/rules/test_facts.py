"""Facts that cannot be are refused where they are put together, with a word that helps."""

import dataclasses
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from reminders.rules.facts import ApplicationFacts, MessagePolicy, Removal, VisitFacts
from reminders.rules.joining import DueRow
from reminders.rules.kinds import MessageKind
from reminders.rules.quiet import Moved

NEW_YORK, LOS_ANGELES = ZoneInfo("America/New_York"), ZoneInfo("America/Los_Angeles")
NOON = datetime(2027, 3, 26, 16, 0, tzinfo=UTC)
NAIVE = datetime(2027, 3, 26, 12, 0)


def application(**changes: Any) -> ApplicationFacts:
    known: dict[str, Any] = {
        "saved_at": NOON,
        "applied_at": NOON,
        "adhesion_minutes": 20,
        "water_minutes": 60,
        "opens_on": date(2027, 3, 30),
        "closes_on": date(2027, 3, 31),
        "removal_day": date(2027, 3, 31),
        "clinic_zone": NEW_YORK,
    }
    return ApplicationFacts(**(known | changes))


def visit(**changes: Any) -> VisitFacts:
    known: dict[str, Any] = {"starts_at": NOON, "booked_at": NOON, "clinic_zone": NEW_YORK}
    return VisitFacts(**(known | changes))


def test_a_tape_comes_off_at_home_without_caution_unless_said_otherwise() -> None:
    facts = application()

    assert (facts.removal, facts.caution, facts.first_application, facts.ended_at) == (
        Removal.HOME,
        False,
        False,
        None,
    )


@pytest.mark.parametrize("name", ["saved_at", "applied_at", "removal_visit_starts_at", "ended_at"])
def test_an_application_knows_no_time_without_a_zone(name: str) -> None:
    with pytest.raises(ValueError, match=f"^{name} needs a time zone"):
        application(**{name: NAIVE})


@pytest.mark.parametrize("name", ["starts_at", "booked_at", "changed_at", "cancelled_at"])
def test_a_visit_knows_no_time_without_a_zone(name: str) -> None:
    with pytest.raises(ValueError, match=f"^{name} needs a time zone"):
        visit(changes=1, **{name: NAIVE})


# IANA time zone database: half past eleven at night on the 26th in New York is the 27th in UTC.
def test_the_day_of_taping_is_the_clinics_against_iana() -> None:
    late = datetime(2027, 3, 27, 3, 30, tzinfo=UTC)

    assert application(applied_at=late).applied_on == date(2027, 3, 26)


def test_times_are_kept_in_utc_so_that_they_compare_by_instant() -> None:
    facts = application(applied_at=NOON.astimezone(NEW_YORK))

    assert (facts.applied_at, facts.applied_at.tzinfo) == (NOON, UTC)
    assert visit(starts_at=NOON.astimezone(NEW_YORK)).starts_at.tzinfo is UTC


def test_the_adhesion_wait_begins_with_the_last_strip() -> None:
    assert application(adhesion_minutes=45).adhesion_ends_at == NOON + timedelta(minutes=45)


def test_the_patients_clock_counts_where_it_is_known() -> None:
    assert (application().zone, application(patient_zone=LOS_ANGELES).zone) == (NEW_YORK, LOS_ANGELES)
    assert (visit().zone, visit(patient_zone=LOS_ANGELES).zone) == (NEW_YORK, LOS_ANGELES)


@pytest.mark.parametrize("minutes", [{"adhesion_minutes": -1}, {"water_minutes": -1}])
def test_no_wait_is_negative(minutes: dict[str, int]) -> None:
    with pytest.raises(ValueError, match="waiting times cannot be negative"):
        application(**minutes)


def test_no_wait_at_all_is_unusual_and_possible() -> None:
    assert application(adhesion_minutes=0, water_minutes=0).adhesion_ends_at == NOON


def test_a_window_does_not_close_before_it_opens() -> None:
    with pytest.raises(ValueError, match="the wear window closes on 2027-03-29, before it opens on 2027-03-30"):
        application(closes_on=date(2027, 3, 29))
    assert application(closes_on=date(2027, 3, 30)).closes_on == date(2027, 3, 30)


def test_no_tape_comes_off_on_a_day_before_it_went_on() -> None:
    with pytest.raises(ValueError, match="the removal day 2027-03-25 lies before the day of taping 2027-03-26"):
        application(removal_day=date(2027, 3, 25))
    assert application(removal_day=date(2027, 3, 26)).removal_day == date(2027, 3, 26)


def test_no_tape_ends_before_it_went_on() -> None:
    with pytest.raises(ValueError, match="before it went on at 2027-03-26 16:00:00"):
        application(ended_at=NOON - timedelta(seconds=1))
    assert application(ended_at=NOON).ended_at == NOON


@pytest.mark.parametrize("contradiction", [{"changes": 1}, {"changed_at": NOON}, {"changes": -1, "changed_at": NOON}])
def test_a_visit_counts_its_moves_and_knows_the_last(contradiction: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match="contradict each other"):
        visit(**contradiction)


@pytest.mark.parametrize(
    "value",
    [application(), visit(), MessagePolicy(), Moved(NOON, None), DueRow(1, 1, MessageKind.REMOVAL_DAY, NOON)],
    ids=lambda value: type(value).__name__,
)
def test_what_was_told_cannot_be_changed_afterwards(value: Any) -> None:
    name = dataclasses.fields(value)[0].name

    with pytest.raises(dataclasses.FrozenInstanceError):
        setattr(value, name, None)


def test_quiet_hours_are_nine_to_eight_and_nothing_optional_unless_the_clinic_says_so() -> None:
    assert MessagePolicy() == MessagePolicy(time(21), time(8), frozenset())


def test_a_policy_refuses_equal_quiet_hours() -> None:
    with pytest.raises(ValueError, match="cannot begin and end at the same time"):
        MessagePolicy(time(8), time(8))


def test_only_optional_messages_can_be_switched() -> None:
    with pytest.raises(ValueError, match="removal_day is always sent and cannot be switched"):
        MessagePolicy(optional_messages=frozenset({MessageKind.REMOVAL_DAY}))


def test_a_kind_nobody_knows_cannot_be_switched() -> None:
    with pytest.raises(ValueError, match="'chit_chat' is not a valid MessageKind"):
        MessagePolicy(optional_messages=frozenset({"chit_chat"}))  # type: ignore[arg-type]


@pytest.mark.parametrize("make", [application, visit])
@pytest.mark.parametrize("field", ["clinic_zone", "patient_zone"])
@pytest.mark.parametrize("zone", ["America/New_York", UTC, 5])
def test_a_zone_that_is_none_is_refused(make: Any, field: str, zone: Any) -> None:
    with pytest.raises(ValueError, match=r"is not a time zone: give a ZoneInfo such as"):
        make(**{field: zone})


@pytest.mark.parametrize("make", [application, visit])
def test_the_clinic_always_has_a_zone(make: Any) -> None:
    """Without one Python would count days on the computer's clock."""
    with pytest.raises(ValueError, match=r"^None is not a time zone"):
        make(clinic_zone=None)


@pytest.mark.parametrize(
    ("make", "field"),
    [(application, "saved_at"), (application, "applied_at"), (visit, "starts_at"), (visit, "booked_at")],
)
def test_the_times_that_every_plan_needs_cannot_be_left_out(make: Any, field: str) -> None:
    with pytest.raises(ValueError, match=f"^{field} is None: give a date and time with a time zone"):
        make(**{field: None})
