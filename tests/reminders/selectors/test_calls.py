"""The order in which to call, and whom to ask for."""

from datetime import timedelta

import pytest

from clinic.models import Clinic
from reminders.models import CallItem
from reminders.selectors.calls import call_items_open, call_rows
from taping.models import Application
from tests.factories import ApplicationFactory, CallItemFactory, HelperFactory, MessageFactory
from tests.factories.clinic import NOW


def made(reason: str, **fields: object) -> CallItem:
    item: CallItem = CallItemFactory(reason=reason, **fields)
    return item


def listed() -> list[CallItem]:
    return [row.item for row in call_rows(call_items_open(), now=NOW)]


def overdue_after(messages: int, *, state: str = "sent") -> CallItem:
    tape: Application = ApplicationFactory(applied_at=NOW - timedelta(days=8))
    for ordinal in range(1, messages + 1):
        MessageFactory(application=tape, kind="removal_overdue", ordinal=ordinal, state=state)
    return made("overdue", application=tape)


def test_reasons_stand_in_the_order_of_their_weight(clinic: Clinic) -> None:
    items = {reason: made(reason) for reason in reversed(CallItem.Reason.values)}
    order = [item.reason for item in listed()]
    assert order[0] == "skin_report"
    assert set(order[1:3]) == {"call_back", "reply"}
    assert order[3:] == ["overdue", "unreachable", "undelivered", "uncertain", "unfinished"]
    assert len(items) == len(order)


def test_after_two_messages_that_went_overdue_tape_rises_above_calls_asked_for(clinic: Clinic) -> None:
    asked, once, twice = made("call_back"), overdue_after(1), overdue_after(2)
    assert listed() == [twice, asked, once]


@pytest.mark.parametrize("state", ["planned", "failed", "missed", "dropped", "uncertain"])
def test_messages_that_did_not_go_do_not_count(clinic: Clinic, state: str) -> None:
    asked, overdue = made("call_back"), overdue_after(2, state=state)
    assert listed() == [asked, overdue]


def test_of_one_reason_the_longest_waiting_stands_first(clinic: Clinic) -> None:
    late, early = made("reply", since=NOW), made("reply", since=NOW - timedelta(hours=1))
    assert listed() == [early, late]


@pytest.mark.parametrize(("minutes", "waits"), [(-1, False), (0, False), (1, True)])
def test_a_call_waits_until_the_moment_it_was_put_off_to(clinic: Clinic, minutes: int, *, waits: bool) -> None:
    made("skin_report", urgent=True, try_again_at=NOW + timedelta(minutes=minutes))
    assert [row.waits for row in call_rows(call_items_open(), now=NOW)] == [waits]


def test_the_helper_who_gets_the_messages_is_asked_for(clinic: Clinic) -> None:
    item = made("call_back")
    HelperFactory(patient=item.patient)
    chosen = HelperFactory(patient=item.patient, gets_messages=True)
    assert [row.ask_for for row in call_rows(call_items_open(), now=NOW)] == [chosen]


def test_without_such_a_helper_the_patient_is_asked_for(clinic: Clinic) -> None:
    item = made("call_back")
    HelperFactory(patient=item.patient)
    assert [row.ask_for for row in call_rows(call_items_open(), now=NOW)] == [item.patient]


def test_closed_items_are_not_open(clinic: Clinic) -> None:
    made("call_back", closed_at=NOW)
    assert listed() == []
