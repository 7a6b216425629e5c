"""The last look: may this message go now, to whom, and if not, what becomes of it."""

from datetime import UTC, datetime, time, timedelta

import pytest

from clinic.models import Clinic
from reminders.models import Message
from reminders.rules.outbox import MessageState
from reminders.services.addresses import Route
from reminders.services.looking import NO_ROUTE, Go, Instead, Surroundings, last_look
from tests.factories import ApplicationFactory, HelperFactory, MessageFactory, PatientFactory, VisitFactory

pytestmark = pytest.mark.django_db

NIGHT = datetime(2027, 3, 11, 4, 0, tzinfo=UTC)  # 23:00 in New York


def ready(**values: object) -> Message:
    row: Message = MessageFactory(**values)
    if row.application is not None:
        row.application.planned_version = row.application.plan_version
    return row


def of_visit(kind: str, now: datetime, **values: object) -> Message:
    visit = VisitFactory(
        starts_at=now + timedelta(hours=5), ends_at=now + timedelta(hours=6), planned_version=1, **values
    )
    return Message(
        patient=visit.patient, visit=visit, kind=kind, subject=f"visit:{visit.pk}", planned_for=now, wake_at=now,
        expires_at=visit.starts_at,
    )  # fmt: skip


def look(row: Message, clinic: Clinic, now: datetime, *refused: tuple[str, str]) -> Go | Instead:
    return last_look(row, Surroundings(clinic, refused=set(refused)), now)


def test_it_goes_to_the_patient_on_the_preferred_channel(clinic: Clinic, now: datetime) -> None:
    row = ready()
    assert look(row, clinic, now) == Go(row.patient, Route("sms", row.patient.phone))


def test_it_goes_to_the_helper_who_gets_the_messages(clinic: Clinic, now: datetime) -> None:
    row = ready()
    HelperFactory(patient=row.patient)
    chosen = HelperFactory(patient=row.patient, gets_messages=True, phone="+12125550178", prefers="email", email="")
    assert look(row, clinic, now) == Go(chosen, Route("sms", "+12125550178"))


@pytest.mark.parametrize(
    ("changes", "state", "why"),
    [
        ({"patient__consents": False}, MessageState.DROPPED, "no agreement to reminders"),
        ({"ended_at": NIGHT - timedelta(hours=12), "ended_how": "off"}, MessageState.DROPPED, "the tape is off"),
        ({"patient__phone": "", "patient__email": ""}, MessageState.FAILED, NO_ROUTE),
    ],
)
def test_what_stops_it(
    clinic: Clinic, now: datetime, changes: dict[str, object], state: MessageState, why: str
) -> None:
    row = ready(application=ApplicationFactory(**changes))
    assert look(row, clinic, now) == Instead(state, why)


def test_the_end_of_its_use_stops_it(clinic: Clinic, now: datetime) -> None:
    row = ready()
    assert look(row, clinic, row.expires_at) == Instead(MessageState.MISSED, "its time had passed before it could go")


def test_after_the_tape_only_the_follow_up_goes(clinic: Clinic, now: datetime) -> None:
    on, off = (
        ready(kind="skin_follow_up"),
        ready(kind="skin_follow_up", application=ApplicationFactory(ended_at=now, ended_how="off")),
    )
    assert look(on, clinic, now) == Instead(MessageState.DROPPED, "the tape is still on")
    assert isinstance(look(off, clinic, now), Go)


def test_a_subject_that_changed_is_planned_first(clinic: Clinic, now: datetime) -> None:
    row = ready()
    assert row.application is not None
    row.application.plan_version += 1
    assert look(row, clinic, now) == Instead(MessageState.PLANNED, "", now + timedelta(seconds=1))


@pytest.mark.parametrize(
    ("kind", "state", "goes"),
    [
        ("visit_booked", "booked", True),
        ("visit_reminder", "booked", True),
        ("visit_reminder", "arrived", False),
        ("visit_changed", "cancelled", False),
        ("visit_cancelled", "cancelled", True),
        ("visit_cancelled", "booked", False),
    ],
)
def test_a_visit_s_news_must_still_be_true(clinic: Clinic, now: datetime, kind: str, state: str, goes: bool) -> None:
    assert isinstance(look(of_visit(kind, now, state=state), clinic, now), Go) is goes


class TestChannels:
    def test_a_refused_address_leads_to_the_other_channel(self, clinic: Clinic, now: datetime) -> None:
        row = ready()
        found = look(row, clinic, now, ("sms", row.patient.phone))
        assert found == Go(row.patient, Route("email", row.patient.email))

    def test_a_channel_that_refused_this_message_is_not_tried_again(self, clinic: Clinic, now: datetime) -> None:
        row = ready(refused_on="sms")
        assert look(row, clinic, now) == Go(row.patient, Route("email", row.patient.email))

    def test_another_s_refused_address_is_no_matter(self, clinic: Clinic, now: datetime) -> None:
        row = ready()
        assert look(row, clinic, now, ("sms", "+12125550199"), ("email", row.patient.phone)) == Go(
            row.patient, Route("sms", row.patient.phone)
        )

    def test_a_repeat_goes_where_the_key_is_known(self, clinic: Clinic, now: datetime) -> None:
        row = ready(repeats=1)
        row.channel, row.address = "email", row.patient.email
        assert look(row, clinic, now) == Go(row.patient, Route("email", row.patient.email))

    def test_a_repeat_does_not_go_to_an_address_the_patient_has_left(self, clinic: Clinic, now: datetime) -> None:
        row = ready(repeats=1, channel="email", address="old@example.org")
        assert look(row, clinic, now) == Go(row.patient, Route("sms", row.patient.phone))

    def test_a_stop_is_answered_where_it_came_from(self, clinic: Clinic, now: datetime) -> None:
        patient = PatientFactory(consents=False)
        row = Message(
            patient=patient, kind="stop_confirmed", subject=f"patient:{patient.pk}", channel="sms",
            address="+12125550166", expires_at=NIGHT + timedelta(hours=1),
        )  # fmt: skip
        assert look(row, clinic, NIGHT) == Go(patient, Route("sms", "+12125550166"))


class TestQuietHours:
    def test_at_night_it_waits_for_the_morning(self, clinic: Clinic) -> None:
        row = ready(planned_for=NIGHT, expires_at=NIGHT + timedelta(hours=20))
        assert look(row, clinic, NIGHT) == Instead(
            MessageState.PLANNED, "moved from 23:00 to 08:00: quiet hours", datetime(2027, 3, 11, 13, tzinfo=UTC)
        )

    def test_a_message_of_no_use_by_then_is_given_up(self, clinic: Clinic) -> None:
        row = ready(planned_for=NIGHT, expires_at=NIGHT + timedelta(hours=2))
        found = look(row, clinic, NIGHT)
        assert isinstance(found, Instead)
        assert found.state is MessageState.MISSED

    def test_the_patient_s_clock_decides(self, clinic: Clinic) -> None:
        row = ready(
            application=ApplicationFactory(patient__time_zone="Asia/Tokyo"), planned_for=NIGHT,
            expires_at=NIGHT + timedelta(hours=20),
        )  # fmt: skip
        assert isinstance(look(row, clinic, NIGHT), Go)  # 13:00 in Tokyo

    def test_a_visit_s_news_does_not_wait_beyond_the_visit(self, clinic: Clinic) -> None:
        found = look(of_visit("visit_booked", NIGHT), clinic, NIGHT)
        assert isinstance(found, Instead)
        assert found.state is MessageState.MISSED

    def test_the_clinic_s_own_hours_hold(self, clinic: Clinic) -> None:
        clinic.quiet_from, clinic.quiet_until = time(1), time(2)
        assert isinstance(look(ready(planned_for=NIGHT), clinic, NIGHT), Go)
