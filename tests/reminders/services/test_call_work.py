"""What staff do with the call list, below the pages."""

from datetime import timedelta

import pytest

from clinic.models import Event, User
from clinic.services.events import Actor
from reminders.models import CallItem
from reminders.rules.call_endings import CallEnding
from reminders.services.answers import answer_skin
from reminders.services.call_work import CallRefused, CallResult, call_record, call_reopen, report_settle
from taping.models import Application
from taping.services.refusals import TapingRefused
from taping.services.reports import ReportGrade
from tests.factories import ApplicationFactory, CallItemFactory, UserFactory
from tests.factories.clinic import NOW

pytestmark = pytest.mark.django_db

LATER = NOW + timedelta(hours=1)


def desk() -> Actor:
    user: User = UserFactory(desk=True)
    return Actor(user=user)


def therapist() -> Actor:
    user: User = UserFactory()
    return Actor(user=user)


def made(reason: str, **fields: object) -> CallItem:
    item: CallItem = CallItemFactory(reason=reason, **fields)
    return item


@pytest.mark.parametrize("reason", CallItem.Reason.values)
@pytest.mark.parametrize("what", [CallEnding.SPOKE, CallEnding.NO_ANSWER])
def test_every_reason_can_be_spoken_about_and_tried_again(reason: str, what: CallEnding) -> None:
    item = call_record(actor=desk(), now=NOW, item=made(reason), result=CallResult(what, try_again_at=LATER))
    assert (item.closed_at is None) == (item.try_again_at == LATER)
    assert item.tries == (what == CallEnding.NO_ANSWER)


def test_only_no_answer_counts_as_a_try() -> None:
    item = made("overdue", tries=2)
    call_record(actor=desk(), now=NOW, item=item, result=CallResult(CallEnding.SPOKE))
    assert call_record(actor=desk(), now=NOW, item=item, result=CallResult(CallEnding.NO_ANSWER)).tries == 3


def test_handing_over_makes_it_due_now() -> None:
    item = made("skin_report", try_again_at=LATER)
    given = call_record(actor=desk(), now=NOW, item=item, result=CallResult(CallEnding.HAND_OVER))
    assert (given.try_again_at, given.owner) == (None, item.application.therapist)  # type: ignore[union-attr]


def test_handing_over_what_is_about_no_tape_names_nobody() -> None:
    tape: Application = ApplicationFactory()
    item = made("reply", application=None, patient=tape.patient)
    assert call_record(actor=desk(), now=NOW, item=item, result=CallResult(CallEnding.HAND_OVER)).owner is None


def test_a_refused_ending_changes_nothing() -> None:
    item = made("skin_report")
    with pytest.raises(CallRefused, match="Only a therapist closes a skin report"):
        call_record(actor=desk(), now=NOW, item=item, result=CallResult(CallEnding.SORTED_OUT, "all fine"))
    item.refresh_from_db()
    assert (item.note, item.closed_at, Event.objects.count()) == ("", None, 0)


def test_the_event_names_the_field_and_not_the_words() -> None:
    call_record(actor=desk(), now=NOW, item=made("call_back"), result=CallResult(CallEnding.SPOKE, "secret words"))
    event = Event.objects.get()
    assert (event.verb, event.fields) == ("call.spoke", ["note"])


def test_that_it_is_off_closes_every_call_about_the_tape() -> None:
    tape: Application = ApplicationFactory(applied_at=NOW - timedelta(days=7))
    overdue, unreachable = made("overdue", application=tape), made("unreachable", application=tape)
    result = CallResult(CallEnding.IS_OFF, off_at=NOW - timedelta(days=1))
    call_record(actor=desk(), now=NOW, item=overdue, result=result)
    unreachable.refresh_from_db()
    tape.refresh_from_db()
    assert tape.ended_at == NOW - timedelta(days=1)
    assert unreachable.closed_how == "the tape is off"


def test_a_tape_that_ended_in_the_meantime_keeps_its_ending() -> None:
    ended_at = NOW - timedelta(hours=2)
    tape: Application = ApplicationFactory(
        applied_at=NOW - timedelta(days=7), ended_at=ended_at, ended_how="came_off", ended_by="patient"
    )
    call_record(actor=desk(), now=NOW, item=made("overdue", application=tape), result=CallResult(CallEnding.IS_OFF))
    tape.refresh_from_db()
    assert (tape.ended_at, tape.ended_how) == (ended_at, "came_off")


def test_a_finding_closes_only_the_calls_about_that_report() -> None:
    tape: Application = ApplicationFactory()
    first, _ = answer_skin(now=NOW, application=tape, signs=["itching"])
    second, _ = answer_skin(now=NOW, application=tape, signs=["rash"])
    report_settle(actor=therapist(), now=NOW, report=first, grade=ReportGrade("no_change"))
    open_reports = CallItem.objects.filter(closed_at=None).values_list("report", flat=True)
    assert list(open_reports) == [second.pk]


def test_the_desk_settles_no_report() -> None:
    report, _ = answer_skin(now=NOW, application=ApplicationFactory(), signs=["itching"])
    with pytest.raises(TapingRefused, match="Only a therapist"):
        report_settle(actor=desk(), now=NOW, report=report, grade=ReportGrade("no_change"))
    assert CallItem.objects.get().closed_at is None


@pytest.mark.parametrize("what", [CallEnding.SPOKE, CallEnding.SORTED_OUT])
def test_what_was_closed_by_mistake_comes_back_as_it_was(what: CallEnding) -> None:
    """A clerk presses "spoke" at the wrong name: without a way back the patient would wait for a call for ever."""
    item = call_record(actor=desk(), now=NOW, item=made("call_back", words="Hm?"), result=CallResult(what, "said so"))
    again = call_reopen(actor=desk(), now=LATER, item=item)
    assert (again.closed_at, again.closed_by, again.closed_how, again.words) == (None, None, "", "Hm?")
    assert Event.objects.filter(verb="call.reopened").count() == 1


def test_what_its_cause_closed_is_not_opened_by_hand() -> None:
    item = made("overdue", closed_at=NOW, closed_how="the tape is off")
    assert call_reopen(actor=desk(), now=LATER, item=item).closed_at == NOW


def test_the_same_is_never_on_the_list_twice() -> None:
    item = made("call_back", closed_at=NOW, closed_how="spoke", key="k")
    made("call_back", key="k", patient=item.patient)
    with pytest.raises(CallRefused, match="on the call list again already"):
        call_reopen(actor=desk(), now=LATER, item=item)
