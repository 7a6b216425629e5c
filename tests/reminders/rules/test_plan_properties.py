"""What holds for every plan, whatever the facts, quiet hours and clock changes."""

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from dateutil import tz as dateutil_tz
from hypothesis import given, settings
from hypothesis import strategies as st

from reminders.rules.plan import ApplicationFacts, MessageKind, MessagePolicy, plan_messages, plan_with_drops

EVERYTHING = MessagePolicy(optional_messages=frozenset({MessageKind.EXERCISE_OK, MessageKind.REMOVAL_EVE}))
ZONES = ["America/New_York", "Europe/London", "Australia/Lord_Howe", "America/Santiago", "Asia/Kathmandu"]
moments = st.datetimes(datetime(2026, 2, 1), datetime(2027, 12, 1), timezones=st.just(UTC))
hours = st.integers(0, 95).map(lambda quarter: time(quarter // 4, quarter % 4 * 15))


@st.composite
def any_facts(draw: st.DrawFn) -> ApplicationFacts:
    clinic, patient = (ZoneInfo(draw(st.sampled_from(ZONES))) for _ in "ab")
    applied = draw(moments)
    day = applied.astimezone(clinic).date()
    first = draw(st.integers(1, 7))
    last = draw(st.integers(first, 7))
    removal_day = day + timedelta(days=draw(st.integers(0, last)))
    visit = datetime.combine(removal_day, draw(hours), clinic).astimezone(UTC)
    return ApplicationFacts(
        saved_at=applied + timedelta(minutes=draw(st.integers(0, 7 * 24 * 60))),
        applied_at=applied,
        adhesion_minutes=draw(st.integers(20, 120)),
        water_minutes=60,
        opens_on=day + timedelta(days=first),
        closes_on=day + timedelta(days=last),
        removal_day=removal_day,
        removal_visit_starts_at=draw(st.sampled_from([None, visit])),
        first_application=draw(st.booleans()),
        caution=draw(st.booleans()),
        ended_at=draw(st.sampled_from([None, applied + timedelta(hours=30)])),
        clinic_zone=clinic,
        patient_zone=draw(st.sampled_from([None, patient])),
    )


@settings(max_examples=300, deadline=None)
@given(any_facts(), st.tuples(hours, hours).filter(lambda ends: ends[0] != ends[1]))
def test_no_message_leaves_its_bounds_whatever_the_facts_against_dateutil(
    facts: ApplicationFacts, ends: tuple[time, time]
) -> None:
    policy = replace(EVERYTHING, quiet_from=ends[0], quiet_until=ends[1])
    clock_of = dateutil_tz.gettz((facts.patient_zone or facts.clinic_zone).key)

    plan = plan_with_drops(facts, policy)

    for message in plan.messages:
        clock = message.due_at.astimezone(clock_of).time()
        in_day = ends[0] <= clock < ends[1]
        assert not (in_day if ends[0] < ends[1] else clock >= ends[0] or clock < ends[1])
        assert facts.saved_at <= message.due_at < message.expires_at
        assert all(message.reasons)
    assert plan.messages == tuple(sorted(plan.messages, key=lambda message: message.due_at))
    said = [(one.kind, one.ordinal) for one in plan.messages] + [(one.kind, one.ordinal) for one in plan.dropped]
    assert len(said) == len(set(said))
    assert plan == plan_with_drops(facts, policy)


@settings(max_examples=200, deadline=None)
@given(any_facts())
def test_after_the_removal_day_nothing_but_the_late_questions_against_dateutil(facts: ApplicationFacts) -> None:
    # where patient and clinic read one calendar; on two the days of the clinic count
    facts = replace(facts, patient_zone=None)
    day_of = dateutil_tz.gettz(facts.clinic_zone.key)

    late = {
        message.kind
        for message in plan_messages(facts, EVERYTHING)
        if message.due_at.astimezone(day_of).date() > facts.removal_day
    }

    assert late <= {MessageKind.REMOVAL_OVERDUE, MessageKind.SKIN_FOLLOW_UP}
