"""The messages of one application: what, when, until when and why."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from reminders.rules.plan import (
    ApplicationFacts,
    DroppedMessage,
    MessageKind,
    MessagePolicy,
    PlannedMessage,
    Removal,
    plan_messages,
    plan_with_drops,
)

NEW_YORK, LONDON, AUCKLAND = ZoneInfo("America/New_York"), ZoneInfo("Europe/London"), ZoneInfo("Pacific/Auckland")
LOS_ANGELES = ZoneInfo("America/Los_Angeles")
PLAIN = MessagePolicy()
EVERYTHING = MessagePolicy(optional_messages=frozenset({MessageKind.EXERCISE_OK, MessageKind.REMOVAL_EVE}))


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


# A Friday, eleven in the morning in New York; the clocks there do not change in the days that follow.
FRIDAY = ApplicationFacts(
    saved_at=utc("2027-03-26T15:00"),
    applied_at=utc("2027-03-26T15:00"),
    adhesion_minutes=20,
    water_minutes=60,
    opens_on=date(2027, 3, 30),
    closes_on=date(2027, 3, 31),
    removal_day=date(2027, 3, 31),
    clinic_zone=NEW_YORK,
)


def planned(policy: MessagePolicy = PLAIN, **changes: Any) -> tuple[PlannedMessage, ...]:
    return plan_messages(replace(FRIDAY, **changes), policy)


def only(kind: MessageKind, policy: MessagePolicy = EVERYTHING, **changes: Any) -> list[PlannedMessage]:
    return [message for message in planned(policy, **changes) if message.kind is kind]


def one(kind: MessageKind, policy: MessagePolicy = EVERYTHING, **changes: Any) -> PlannedMessage:
    (message,) = only(kind, policy, **changes)
    return message


def dropped(kind: MessageKind, policy: MessagePolicy = EVERYTHING, **changes: Any) -> list[DroppedMessage]:
    return [drop for drop in plan_with_drops(replace(FRIDAY, **changes), policy).dropped if drop.kind is kind]


def quiet(begins: str, ends: str) -> MessagePolicy:
    return replace(EVERYTHING, quiet_from=time.fromisoformat(begins), quiet_until=time.fromisoformat(ends))


def test_the_usual_tape_gets_aftercare_a_removal_message_and_two_questions_when_late() -> None:
    assert planned() == (
        PlannedMessage(
            MessageKind.AFTERCARE,
            1,
            utc("2027-03-26T15:00"),
            utc("2027-03-31T04:00"),
            ("the tape went on at 11:00",),
        ),
        PlannedMessage(
            MessageKind.REMOVAL_DAY,
            1,
            utc("2027-03-31T13:00"),
            utc("2027-04-01T04:00"),
            ("day 5 of the wear window", "09:00 on the removal day"),
        ),
        PlannedMessage(
            MessageKind.REMOVAL_OVERDUE,
            1,
            utc("2027-04-01T14:00"),
            utc("2027-04-02T02:00"),
            ("day 6: 1 day after the wear window closed",),
        ),
        PlannedMessage(
            MessageKind.REMOVAL_OVERDUE,
            2,
            utc("2027-04-02T14:00"),
            utc("2027-04-03T02:00"),
            ("day 7: 2 days after the wear window closed",),
        ),
    )


def test_nothing_is_dropped_from_the_usual_plan() -> None:
    assert plan_with_drops(FRIDAY, PLAIN).dropped == ()


def test_a_clinic_that_wants_everything_gets_it_in_the_order_of_time() -> None:
    assert [(message.kind.value, message.ordinal) for message in planned(EVERYTHING, caution=True)] == [
        ("aftercare", 1),
        ("exercise_ok", 1),
        ("skin_check", 1),
        ("skin_check", 2),
        ("removal_eve", 1),
        ("removal_day", 1),
        ("removal_overdue", 1),
        ("removal_overdue", 2),
    ]


def test_times_are_told_in_utc() -> None:
    assert {(one.due_at.tzinfo, one.expires_at.tzinfo) for one in planned(EVERYTHING, caution=True)} == {(UTC, UTC)}


# aftercare


def test_aftercare_waits_until_the_application_was_saved() -> None:
    message = one(MessageKind.AFTERCARE, saved_at=utc("2027-03-26T17:30"))

    assert message.due_at == utc("2027-03-26T17:30")
    assert message.reasons == ("the tape went on at 11:00", "moved from 11:00 to 13:30: not before then")


def test_aftercare_of_a_tape_applied_at_night_waits_for_the_morning() -> None:
    message = one(MessageKind.AFTERCARE, applied_at=utc("2027-03-27T02:30"), saved_at=utc("2027-03-27T02:30"))

    assert message.due_at == utc("2027-03-27T12:00")
    assert message.reasons == ("the tape went on at 22:30", "moved from 22:30 to 08:00: quiet hours")


def test_aftercare_entered_on_the_removal_day_is_too_late() -> None:
    saved = utc("2027-03-31T15:00")

    assert only(MessageKind.AFTERCARE, saved_at=saved) == []
    assert dropped(MessageKind.AFTERCARE, saved_at=saved) == [
        DroppedMessage(MessageKind.AFTERCARE, 1, ("the tape went on at 11:00", "too late at 11:00: useless from 00:00"))
    ]


# exercise_ok


def test_the_tape_has_set_when_the_adhesion_wait_is_over() -> None:
    message = one(MessageKind.EXERCISE_OK, adhesion_minutes=45)

    assert (message.due_at, message.expires_at) == (utc("2027-03-26T15:45"), utc("2027-03-26T17:45"))
    assert message.reasons == ("adhesion wait of 45 minutes over",)


def test_the_tape_has_set_is_never_said_before_it_has() -> None:
    late = utc("2027-03-27T00:50")

    assert only(MessageKind.EXERCISE_OK, applied_at=late, saved_at=late) == []
    assert dropped(MessageKind.EXERCISE_OK, applied_at=late, saved_at=late) == [
        DroppedMessage(
            MessageKind.EXERCISE_OK,
            1,
            (
                "adhesion wait of 20 minutes over",
                "21:10 is in quiet hours and nothing is left before 23:10, when it is useless",
            ),
        )
    ]


@pytest.mark.parametrize(("saved", "goes"), [("2027-03-26T16:00", True), ("2027-03-26T17:20", False)])
def test_the_tape_has_set_is_not_said_two_hours_late(saved: str, goes: bool) -> None:
    assert [message.due_at for message in only(MessageKind.EXERCISE_OK, saved_at=utc(saved))] == [utc(saved)] * goes


# IANA time zone database: New York's clocks skip from 02:00 to 03:00 on 14 March 2027.
def test_the_adhesion_wait_is_elapsed_time_over_a_clock_change_against_iana() -> None:
    message = one(
        MessageKind.EXERCISE_OK,
        quiet("12:00", "13:00"),
        applied_at=utc("2027-03-14T06:50"),
        saved_at=utc("2027-03-14T06:50"),
    )

    assert f"{message.due_at.astimezone(NEW_YORK):%H:%M}" == "03:10"


# skin_check


def test_a_caution_is_followed_by_a_look_on_the_first_and_second_day() -> None:
    first, second = only(MessageKind.SKIN_CHECK, caution=True)

    assert (first.ordinal, first.due_at, first.expires_at) == (1, utc("2027-03-27T14:00"), utc("2027-03-28T01:00"))
    assert (second.ordinal, second.due_at, second.expires_at) == (2, utc("2027-03-28T14:00"), utc("2027-03-29T01:00"))
    assert (first.reasons, second.reasons) == (
        ("day 1 on the skin: a caution was noted",),
        ("day 2 on the skin: a caution was noted",),
    )


def test_a_first_application_is_looked_at_on_the_second_day() -> None:
    check = one(MessageKind.SKIN_CHECK, first_application=True)

    assert (check.ordinal, check.due_at) == (2, utc("2027-03-28T14:00"))
    assert check.reasons == ("day 2 on the skin: first application",)


def test_a_caution_on_a_first_application_asks_no_day_twice() -> None:
    both = only(MessageKind.SKIN_CHECK, first_application=True, caution=True)

    assert both == only(MessageKind.SKIN_CHECK, caution=True)


def test_skin_is_not_looked_at_after_the_removal_day() -> None:
    tomorrow = date(2027, 3, 27)

    assert [check.ordinal for check in only(MessageKind.SKIN_CHECK, caution=True, removal_day=tomorrow)] == [1]
    assert dropped(MessageKind.SKIN_CHECK, caution=True, removal_day=tomorrow) == [
        DroppedMessage(
            MessageKind.SKIN_CHECK,
            2,
            (
                "day 2 on the skin: a caution was noted",
                "after the removal day, day 1, outside the wear window",
            ),
        )
    ]


def test_a_check_whose_hour_passed_before_saving_goes_at_once_and_not_in_the_evening() -> None:
    at_noon, at_nine = utc("2027-03-27T16:00"), utc("2027-03-28T01:00")

    assert [check.due_at for check in only(MessageKind.SKIN_CHECK, caution=True, saved_at=at_noon)] == [
        at_noon,
        utc("2027-03-28T14:00"),
    ]
    assert [check.ordinal for check in only(MessageKind.SKIN_CHECK, caution=True, saved_at=at_nine)] == [2]


# removal_eve


def test_the_evening_before_is_announced_at_six() -> None:
    message = one(MessageKind.REMOVAL_EVE)

    assert (message.due_at, message.expires_at) == (utc("2027-03-30T22:00"), utc("2027-03-31T04:00"))
    assert message.reasons == ("18:00 the day before day 5 of the wear window",)


def test_an_evening_message_in_quiet_hours_goes_before_them_because_tomorrow_is_too_late() -> None:
    message = one(MessageKind.REMOVAL_EVE, quiet("17:00", "08:00"))

    assert message.due_at == utc("2027-03-30T20:45")
    assert message.reasons[1] == "moved from 18:00 to 16:45: quiet hours, useless from 00:00"


def test_the_visits_own_reminder_stands_for_the_evening_message() -> None:
    visit = utc("2027-03-31T18:00")

    assert only(MessageKind.REMOVAL_EVE, removal_visit_starts_at=visit) == []
    assert dropped(MessageKind.REMOVAL_EVE, removal_visit_starts_at=visit) == [
        DroppedMessage(
            MessageKind.REMOVAL_EVE,
            1,
            ("18:00 the day before day 5 of the wear window", "the visit's own reminder stands for it"),
        )
    ]


@pytest.mark.parametrize("kind", [MessageKind.EXERCISE_OK, MessageKind.REMOVAL_EVE])
def test_an_optional_message_is_sent_only_where_it_was_switched_on(kind: MessageKind) -> None:
    alone = MessagePolicy(optional_messages=frozenset({kind}))
    optional = {message.kind for message in planned(alone) if message.kind.is_optional}

    assert optional == {kind}
    assert dropped(kind, PLAIN) == []


# removal_day


@pytest.mark.parametrize("who", list(Removal))
def test_the_removal_message_comes_at_nine_whoever_takes_the_tape_off(who: Removal) -> None:
    assert one(MessageKind.REMOVAL_DAY, removal=who).due_at == utc("2027-03-31T13:00")


def test_a_visit_at_ten_is_announced_on_its_own_morning() -> None:
    message = one(MessageKind.REMOVAL_DAY, removal=Removal.CLINIC, removal_visit_starts_at=utc("2027-03-31T14:00"))

    assert message.due_at == utc("2027-03-31T13:00")
    assert message.reasons == ("day 5 of the wear window", "09:00 on the removal day")


def test_a_visit_before_ten_is_announced_the_evening_before() -> None:
    message = one(MessageKind.REMOVAL_DAY, removal=Removal.CLINIC, removal_visit_starts_at=utc("2027-03-31T13:59"))

    assert (message.due_at, message.expires_at) == (utc("2027-03-30T22:00"), utc("2027-04-01T04:00"))
    assert message.reasons == (
        "day 5 of the wear window",
        "18:00 the evening before: the visit at 09:59 is before 10:00",
    )


def test_the_announcement_of_an_early_visit_does_not_wait_past_the_visit() -> None:
    early = utc("2027-03-31T11:30")

    message = one(MessageKind.REMOVAL_DAY, quiet("17:00", "08:00"), removal_visit_starts_at=early)

    assert message.due_at == utc("2027-03-30T20:45")


def test_quiet_hours_that_end_at_ten_move_the_removal_message_to_ten() -> None:
    message = one(MessageKind.REMOVAL_DAY, quiet("21:00", "10:00"))

    assert message.due_at == utc("2027-03-31T14:00")
    assert message.reasons[-1] == "moved from 09:00 to 10:00: quiet hours"


def test_an_earlier_removal_day_is_named_as_such() -> None:
    first, before = (one(MessageKind.REMOVAL_DAY, removal_day=date(2027, 3, day)).reasons[0] for day in (30, 29))

    assert (first, before) == ("day 4 of the wear window", "day 3, outside the wear window")


def test_a_removal_message_saved_after_its_day_is_dropped() -> None:
    assert only(MessageKind.REMOVAL_DAY, saved_at=utc("2027-04-01T04:00")) == []
    assert only(MessageKind.REMOVAL_DAY, saved_at=utc("2027-04-01T00:30")) == [
        PlannedMessage(
            MessageKind.REMOVAL_DAY,
            1,
            utc("2027-04-01T00:30"),
            utc("2027-04-01T04:00"),
            (
                "day 5 of the wear window",
                "09:00 on the removal day",
                "moved from 09:00 to 20:30: not before then",
            ),
        )
    ]


# removal_overdue


def test_the_questions_when_late_follow_the_window_and_not_the_removal_day() -> None:
    early = only(MessageKind.REMOVAL_OVERDUE, removal_day=date(2027, 3, 29))

    assert [message.due_at for message in early] == [utc("2027-04-01T14:00"), utc("2027-04-02T14:00")]


def test_a_question_when_late_stays_inside_its_twelve_hours() -> None:
    late = only(MessageKind.REMOVAL_OVERDUE, saved_at=utc("2027-04-02T02:00"))

    assert [message.ordinal for message in late] == [2]


# after the end


@pytest.mark.parametrize(("how", "words"), [("off", "was taken off"), ("came_off", "came off by itself")])
def test_after_the_end_only_the_skin_is_asked_about(how: str, words: str) -> None:
    ended = utc("2027-03-29T16:00")

    assert planned(EVERYTHING, caution=True, ended_at=ended, ended_how=how) == (
        PlannedMessage(
            MessageKind.SKIN_FOLLOW_UP,
            1,
            utc("2027-03-30T16:00"),
            utc("2027-04-01T16:00"),
            (f"24 hours after the tape {words}",),
        ),
    )


def test_the_skin_is_asked_about_in_the_morning_and_never_before_a_day_is_over() -> None:
    message = one(MessageKind.SKIN_FOLLOW_UP, ended_at=utc("2027-03-30T02:00"))

    assert message.due_at == utc("2027-03-31T12:00")
    assert one(MessageKind.SKIN_FOLLOW_UP, quiet("12:00", "11:00"), ended_at=utc("2027-03-29T22:00")).due_at == utc(
        "2027-03-31T15:00"
    )


def test_a_removal_entered_two_days_late_is_still_asked_about() -> None:
    message = one(MessageKind.SKIN_FOLLOW_UP, ended_at=utc("2027-03-27T16:00"), saved_at=utc("2027-03-30T12:30"))

    assert message.due_at == utc("2027-03-30T12:30")


# whose clock


def test_clock_times_are_the_patients_and_days_the_clinics() -> None:
    assert [message.due_at for message in planned(EVERYTHING, caution=True, patient_zone=LOS_ANGELES)] == [
        utc("2027-03-26T15:00"),
        utc("2027-03-26T15:20"),
        utc("2027-03-27T17:00"),
        utc("2027-03-28T17:00"),
        utc("2027-03-31T01:00"),
        utc("2027-03-31T16:00"),
        utc("2027-04-01T17:00"),
        utc("2027-04-02T17:00"),
    ]


def test_quiet_hours_are_the_patients() -> None:
    message = one(
        MessageKind.AFTERCARE,
        patient_zone=LOS_ANGELES,
        applied_at=utc("2027-03-26T14:00"),
        saved_at=utc("2027-03-26T14:00"),
    )

    assert message.reasons == ("the tape went on at 07:00", "moved from 07:00 to 08:00: quiet hours")


# IANA time zone database: 08:00 on 1 April in Auckland is 15:00 on 31 March in New York.
def test_a_visit_far_from_home_is_announced_before_it_on_the_patients_clock_against_iana() -> None:
    visit = utc("2027-03-31T19:00")

    message = one(MessageKind.REMOVAL_DAY, patient_zone=AUCKLAND, removal_visit_starts_at=visit)

    assert message.due_at == utc("2027-03-31T05:00")
    assert message.due_at.astimezone(AUCKLAND).hour == 18


# The hours of a daily job at nine in London, by the IANA time zone database.
@pytest.mark.parametrize(
    ("day", "due"),
    [
        ("2027-03-27", "2027-03-27T09:00"),
        ("2027-03-28", "2027-03-28T08:00"),
        ("2027-03-29", "2027-03-29T08:00"),
        ("2027-10-30", "2027-10-30T08:00"),
        ("2027-10-31", "2027-10-31T09:00"),
        ("2027-11-01", "2027-11-01T09:00"),
    ],
)
def test_the_removal_message_stays_at_nine_over_clock_changes_against_iana(day: str, due: str) -> None:
    removal = date.fromisoformat(day)
    applied = datetime.combine(removal - timedelta(days=5), time(10), LONDON)

    message = one(
        MessageKind.REMOVAL_DAY,
        clinic_zone=LONDON,
        applied_at=applied,
        saved_at=applied,
        opens_on=removal - timedelta(days=1),
        closes_on=removal,
        removal_day=removal,
    )

    assert message.due_at == utc(due)
