"""The quick path reads what the models would say, and nothing decides otherwise for it."""

from datetime import datetime, timedelta
from uuid import uuid4

import pytest

from clinic.models import Clinic, Patient, Visit
from clinic.selectors import recipient_of
from reminders.models import Message, RefusedAddress
from reminders.rules.joining import WITHIN
from reminders.services.addresses import recipient_at, refused_among, routes_of
from reminders.services.batches import batch_read, rows_read
from reminders.services.due_rows import DueMessage, due_rows
from reminders.services.glance import something_stale
from reminders.services.looking import Go, Surroundings, last_look
from reminders.services.queueing import BATCH, SUSPECT_AFTER, claim
from taping.models import Application
from tests.factories import ApplicationFactory, HelperFactory, MessageFactory, PatientFactory, VisitFactory

pytestmark = pytest.mark.django_db

OWN = [
    "pk", "patient_id", "application_id", "visit_id", "subject", "kind", "ordinal", "safety", "planned_for", "wake_at",
    "expires_at", "why", "claims", "attempts", "repeats", "refused_on", "channel", "address", "key",
]  # fmt: skip


@pytest.fixture
def messages(clinic: Clinic, now: datetime) -> list[Message]:
    visit = VisitFactory(state="cancelled", planned_version=3, plan_version=4)
    helped = PatientFactory(phone="", time_zone="Europe/London")
    HelperFactory(patient=helped, gets_messages=False, phone="+12125550178")
    HelperFactory(patient=helped, gets_messages=True, prefers="email", email="hal@example.org", call_me="Hal")
    return [
        MessageFactory(why="soon", claims=2, attempts=1, repeats=1, refused_on="sms", channel="sms", address="+1"),
        MessageFactory(application=ApplicationFactory(ended_at=now, ended_how="off", plan_version=7)),
        MessageFactory(application=ApplicationFactory(patient=helped), safety=False),
        MessageFactory(application=None, patient=visit.patient, visit=visit, subject="visit:1", kind="visit_cancelled"),
        MessageFactory(application=None, patient=PatientFactory(consents=False), subject="patient:1"),
    ]


def test_every_column_says_what_the_model_says(messages: list[Message], now: datetime) -> None:
    ids = [row.pk for row in reversed(messages)]
    for due, row in zip(due_rows(ids, now), rows_read(ids), strict=True):
        assert [getattr(due, name) for name in OWN] == [getattr(row, name) for name in OWN]
        assert (due.patient.pk, due.patient.consents, due.patient.time_zone, due.patient.plan_version) == (
            row.patient.pk, row.patient.consents, row.patient.time_zone, row.patient.plan_version,
        )  # fmt: skip
        assert routes_of(recipient_at(due.patient)) == routes_of(recipient_of(row.patient))
        assert due.patient.recipient.call_me == recipient_of(row.patient).call_me
        subjects = ((due.application, row.application), (due.visit, row.visit))
        for mine, theirs in subjects:
            assert (mine is None) is (theirs is None)
            if mine is not None and theirs is not None:
                assert (mine.pk, mine.plan_version, mine.planned_version) == (
                    theirs.pk, theirs.plan_version, theirs.planned_version,
                )  # fmt: skip
        if due.visit is not None and row.visit is not None:
            assert (due.visit.starts_at, due.visit.get_state_display()) == (
                row.visit.starts_at, row.visit.get_state_display(),
            )  # fmt: skip


def test_the_last_look_decides_the_same_on_either(messages: list[Message], clinic: Clinic, now: datetime) -> None:
    for model in (Application, Visit):
        model._default_manager.update(plan_version=1, planned_version=1)
    ids = [row.pk for row in messages]
    for at in (now, now + timedelta(hours=13), now + timedelta(days=2)):
        for due, row in zip(due_rows(ids, now), rows_read(ids), strict=True):
            mine, theirs = (last_look(one, Surroundings(clinic), at) for one in (due, row))
            if isinstance(theirs, Go):
                assert isinstance(mine, Go)
                assert mine.route == theirs.route
            else:
                assert mine == theirs


def test_a_batch_is_read_in_one_query(
    messages: list[Message], now: datetime, django_assert_num_queries: object
) -> None:
    with django_assert_num_queries(1):  # type: ignore[operator]
        assert len(due_rows([row.pk for row in messages], now)) == 5
    with django_assert_num_queries(0):  # type: ignore[operator]
        assert due_rows([], now) == []


def test_one_that_is_gone_is_left_out(messages: list[Message], now: datetime) -> None:
    found = due_rows([10**6, messages[0].pk], now)
    assert [type(row) for row in found] == [DueMessage]


def test_addresses_that_refused_are_known_from_the_same_query(messages: list[Message], now: datetime) -> None:
    first, _, helped, *_ = messages
    for channel, address in (
        ("sms", first.patient.phone),
        ("email", first.patient.email),
        ("sms", helped.patient.email),  # the same words on the other channel are another address
        ("email", "hal@example.org"),
        ("email", helped.patient.email),  # not the helper's, who gets the messages
    ):
        RefusedAddress.objects.create(channel=channel, address=address, since=now)
    found = due_rows([row.pk for row in messages], now)
    assert [row.refused_channels for row in found] == [("sms", "email"), (), ("email",), (), ()]
    refused = refused_among([row.patient for row in found])
    assert batch_read(uuid4(), [row.pk for row in messages], now).around.refused == refused


@pytest.mark.parametrize(
    ("values", "near"),
    [
        ({}, True),
        ({"planned_for": WITHIN - timedelta(seconds=1)}, True),
        ({"planned_for": WITHIN}, False),
        ({"kind": "skin_check"}, False),
        ({"state": "sent"}, False),
        ({"expires_at": timedelta(0)}, False),
    ],
)
def test_it_knows_whether_another_may_be_said_with_it(
    clinic: Clinic, now: datetime, values: dict[str, object], near: bool
) -> None:
    row = MessageFactory(state="claimed")
    values = {name: now + value if isinstance(value, timedelta) else value for name, value in values.items()}
    other = MessageFactory(application__patient=row.patient, application__region="ankle", **values)
    MessageFactory()  # somebody else's
    assert [one.has_near for one in due_rows([row.pk], now)] == [near]
    assert [one.pk for one in batch_read(uuid4(), [row.pk], now).near] == ([other.pk] if near else [])


class TestClaim:
    def test_a_batch_is_claimed_in_one_statement(
        self, clinic: Clinic, now: datetime, django_assert_num_queries: object
    ) -> None:
        tape = ApplicationFactory()
        for ordinal in range(BATCH + 1):
            MessageFactory(application=tape, ordinal=ordinal + 1)
        with django_assert_num_queries(1):  # type: ignore[operator]
            assert len(claim(now)[1]) == BATCH
        assert len(claim(now)[1]) == 1

    def test_safety_first_then_the_longest_waiting_and_what_is_sent_again_between(
        self, clinic: Clinic, now: datetime
    ) -> None:
        tape, minute = ApplicationFactory(), timedelta(minutes=1)
        waiting: list[tuple[int, dict[str, object]]] = [
            (9, {"safety": False}),
            (1, {}),
            (5, {}),
            (7, {"state": "uncertain"}),
            (8, {"state": "uncertain", "safety": False}),
            (8, {"claims": SUSPECT_AFTER}),
        ]
        rows = [
            MessageFactory(application=tape, ordinal=number, planned_for=now - late * minute, **values)
            for number, (late, values) in enumerate(waiting, start=1)
        ]
        assert claim(now)[1] == [rows[number].pk for number in (2, 1, 3, 0)]
        rows[3].refresh_from_db()
        assert (rows[3].state, rows[3].repeats, rows[3].claims) == ("claimed", 1, 1)
        assert claim(now)[1] == [rows[5].pk]
        assert claim(now)[1] == []

    def test_suspects_come_alone_the_least_suspect_first(self, clinic: Clinic, now: datetime) -> None:
        tape = ApplicationFactory()
        rows = [MessageFactory(application=tape, ordinal=claims, claims=claims) for claims in (5, 3, 4)]
        assert [claim(now)[1] for _ in range(4)] == [[rows[1].pk], [rows[2].pk], [rows[0].pk], []]

    def test_neither_what_is_not_due_nor_what_is_useless(self, clinic: Clinic, now: datetime) -> None:
        MessageFactory(planned_for=now + timedelta(microseconds=1))
        MessageFactory(expires_at=now)
        assert claim(now)[1] == []


@pytest.mark.parametrize("model", [Clinic, Patient, Visit, Application])
def test_after_each_batch_one_question_finds_what_changed(
    clinic: Clinic, model: type, django_assert_num_queries: object
) -> None:
    VisitFactory()
    ApplicationFactory()
    for every in (Clinic, Patient, Visit, Application):
        every._default_manager.update(plan_version=1, planned_version=1)
    with django_assert_num_queries(1):  # type: ignore[operator]
        assert not something_stale()
    model._default_manager.update(plan_version=2)  # type: ignore[attr-defined]
    assert something_stale()
