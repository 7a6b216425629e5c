"""The one statement of its own: what it marks, and everything that keeps it from marking."""

from datetime import datetime, timedelta
from uuid import UUID, uuid4

import pytest
from django.db.models import F

from clinic.models import Clinic, Patient, Visit
from reminders.models import Message
from reminders.services.addresses import Route
from reminders.services.marks import Sent, Taken, mark
from taping.models import Application
from tests.factories import ApplicationFactory, MessageFactory, VisitFactory

pytestmark = pytest.mark.django_db

ROUTE = Route("sms", "+12125550123")
TOKEN = uuid4()


@pytest.fixture
def row(clinic: Clinic, now: datetime) -> Message:
    return claimed(now)


def claimed(now: datetime, **values: object) -> Message:
    made: Message = MessageFactory(state="claimed", token=TOKEN, lease_until=now, claims=2, **values)
    return made


def take(now: datetime, *rows: Message, sent: Sent | None = None, token: UUID = TOKEN) -> bool:
    return mark(token, sent=sent, taken=Taken(rows, ROUTE, now))


def test_taking_a_row_marks_it_as_being_sent(row: Message, now: datetime) -> None:
    assert take(now, row)
    row.refresh_from_db()
    assert (row.state, row.attempts, row.claims, row.channel, row.address) == ("sending", 1, 0, *vars_of(ROUTE))
    assert (row.lease_until, row.token, row.settled_at) == (now + timedelta(seconds=60), TOKEN, now)


def vars_of(route: Route) -> tuple[str, str]:
    return route.channel, route.address


def test_settling_a_row_keeps_its_text_and_lets_go_of_it(row: Message, now: datetime) -> None:
    take(now, row)
    assert mark(TOKEN, sent=Sent([row.pk], "the text", "m-1"), taken=None)
    row.refresh_from_db()
    assert (row.state, row.text, row.gateway_id, row.token, row.lease_until) == ("sent", "the text", "m-1", None, None)
    assert row.settled_at == now


def test_one_statement_settles_one_and_takes_the_next(
    row: Message, now: datetime, django_assert_num_queries: object
) -> None:
    following = claimed(now)
    take(now, row)
    with django_assert_num_queries(1):  # type: ignore[operator]
        assert take(now + timedelta(seconds=1), following, sent=Sent([row.pk], "text", "id"))
    states = dict(Message.objects.values_list("pk", "state"))
    assert states == {row.pk: "sent", following.pk: "sending"}
    row.refresh_from_db()
    assert row.settled_at == now


def test_nothing_to_mark_asks_nothing(clinic: Clinic, django_assert_num_queries: object) -> None:
    with django_assert_num_queries(0):  # type: ignore[operator]
        assert mark(TOKEN, sent=None, taken=None)


@pytest.mark.parametrize("state", ["planned", "sending", "sent", "dropped", "missed", "failed", "uncertain"])
def test_only_a_claimed_row_is_taken(row: Message, now: datetime, state: str) -> None:
    Message.objects.update(state=state)
    assert not take(now, row)
    row.refresh_from_db()
    assert (row.state, row.attempts) == (state, 0)


def test_another_worker_s_row_is_not_taken(row: Message, now: datetime) -> None:
    assert not take(now, row, token=uuid4())


def test_a_row_whose_use_has_ended_is_not_taken(row: Message, now: datetime) -> None:
    assert not take(row.expires_at, row)


@pytest.mark.parametrize("model", [Patient, Application])
def test_a_row_whose_subject_changed_since_it_was_read_is_not_taken(
    row: Message, now: datetime, model: type[Patient] | type[Application]
) -> None:
    model._default_manager.update(plan_version=F("plan_version") + 1)
    assert not take(now, row)
    row.refresh_from_db()
    assert row.state == "claimed"


def test_a_row_whose_visit_changed_since_it_was_read_is_not_taken(clinic: Clinic, now: datetime) -> None:
    visit = VisitFactory()
    row = claimed(now, application=None, patient=visit.patient, visit=visit, subject=f"visit:{visit.pk}")
    Visit.objects.update(plan_version=9)
    assert not take(now, row)


def test_others_changes_are_no_matter(row: Message, now: datetime) -> None:
    other = ApplicationFactory()
    Application.objects.filter(pk=other.pk).update(plan_version=9)
    assert take(now, row)


def test_rows_said_together_are_marked_together(row: Message, now: datetime) -> None:
    joined = claimed(now)
    assert take(now, row, joined)
    mark(TOKEN, sent=Sent([row.pk, joined.pk], "both", "id"), taken=None)
    for one, attempts, led_by in ((row, 1, None), (joined, 0, row.pk)):
        one.refresh_from_db()
        assert (one.state, one.attempts, one.joined_to_id, one.text) == ("sent", attempts, led_by, "both")


def test_where_one_of_several_cannot_be_taken_it_says_so(row: Message, now: datetime) -> None:
    joined = claimed(now)
    Message.objects.filter(pk=joined.pk).update(state="dropped")
    assert not take(now, row, joined)


def test_a_row_that_became_uncertain_while_the_other_side_was_slow_is_settled(row: Message, now: datetime) -> None:
    take(now, row)
    Message.objects.update(state="uncertain", lease_until=None)
    mark(TOKEN, sent=Sent([row.pk], "text", "id"), taken=None)
    row.refresh_from_db()
    assert row.state == "sent"


def test_a_row_that_somebody_else_has_taken_up_meanwhile_is_left_to_them(row: Message, now: datetime) -> None:
    take(now, row)
    Message.objects.update(token=uuid4())
    mark(TOKEN, sent=Sent([row.pk], "text", "id"), taken=None)
    row.refresh_from_db()
    assert row.state == "sending"


def test_what_is_written_is_never_taken_for_sql(row: Message, now: datetime) -> None:
    take(now, row)
    mark(TOKEN, sent=Sent([row.pk], "'); drop table reminders_message; -- %s", "%s'"), taken=None)
    row.refresh_from_db()
    assert (row.text, row.gateway_id) == ("'); drop table reminders_message; -- %s", "%s'")
