"""One pass of the engine on bad days: a database that goes, a gateway that refuses, a plan that changes meanwhile."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest
from django.db import OperationalError

from clinic.models import Clinic, Patient
from clinic.services.versions import plan_raise
from reminders.models import CallItem, Message
from reminders.services import marks
from taping.models import Application
from tests.factories import ApplicationFactory, MessageFactory, PatientFactory
from tests.reminders.services.conftest import Ways, refused, silence

pytestmark = pytest.mark.django_db

MINUTE = timedelta(minutes=1)


def due(**values: object) -> Message:
    row: Message = MessageFactory(**values)
    Application.objects.update(planned_version=1)
    Patient.objects.update(planned_version=1)
    return row


def state(row: Message) -> tuple[str, int]:
    row.refresh_from_db()
    return row.state, row.attempts


class TestDatabaseGoes:
    """The worker lives, and so it knows what it has done, whether it could write it down or not."""

    @pytest.fixture
    def breaks(self, monkeypatch: pytest.MonkeyPatch) -> Callable[[str, bool], None]:
        """breaks("sent", True): the next mark of a message that went is not answered, though it was written."""

        def arm(what: str, written: bool) -> None:
            real = marks.mark

            def mark(token: object, **values: object) -> bool:
                if not values[what]:
                    return real(token, **values)  # type: ignore[arg-type]
                monkeypatch.setattr(marks, "mark", real)
                if written:
                    real(token, **values)  # type: ignore[arg-type]
                raise OperationalError("server closed the connection unexpectedly")

            monkeypatch.setattr(marks, "mark", mark)

        return arm

    @pytest.mark.parametrize("written", [True, False])
    @pytest.mark.parametrize("safety", [True, False])
    def test_what_went_is_marked_when_it_is_back(
        self, ways: Ways, now: datetime, breaks: Callable[[str, bool], None], safety: bool, written: bool
    ) -> None:
        ended = {} if safety else {"ended_at": now, "ended_how": "off"}
        kind = "removal_day" if safety else "skin_follow_up"
        row = due(application=ApplicationFactory(**ended), kind=kind, safety=safety)
        breaks("sent", written)
        with pytest.raises(OperationalError):
            ways.run(now)
        for minutes in range(4):
            ways.run(now + minutes * MINUTE)
        assert (state(row), len(ways.sms.tried)) == (("sent", 1), 1)

    @pytest.mark.parametrize("written", [True, False])
    def test_what_was_about_to_go_goes_once(
        self, ways: Ways, now: datetime, breaks: Callable[[str, bool], None], written: bool
    ) -> None:
        row = due()
        breaks("taken", written)
        with pytest.raises(OperationalError):
            ways.run(now)
        for minutes in range(4):
            ways.run(now + minutes * MINUTE)
        row.refresh_from_db()
        assert (row.state, row.repeats, len(ways.sms.sent)) == ("sent", 0, 1)


class TestRefusingGateway:
    def test_quick_refusals_hold_nobody_up(self, ways: Ways, now: datetime) -> None:
        rows = [due() for _ in range(5)]
        ways.sms.answers = [silence(handed_over=False), refused(451), silence(handed_over=False), refused(451)]
        ways.run(now)
        assert ([state(row)[1] for row in rows], len(ways.sms.sent)) == ([1] * 5, 1)


class TestTwice:
    """A key that may have arrived belongs to what was said with it."""

    def test_a_new_date_for_a_message_on_its_way_again_is_another_message(self, ways: Ways, now: datetime) -> None:
        application = ApplicationFactory()
        ways.run(now)
        row = Message.objects.get(kind="removal_day")
        Message.objects.filter(pk=row.pk).update(repeats=1)
        day = application.removal_day - timedelta(days=1)
        Application.objects.filter(pk=application.pk).update(removal_day=day)
        plan_raise(application)
        ways.run(now)
        old, new = Message.objects.filter(kind="removal_day").order_by("ordinal")
        assert (old.pk, old.state, new.state, new.planned_for) == (
            row.pk, "dropped", "planned", row.planned_for - timedelta(days=1),
        )  # fmt: skip
        assert old.key != new.key

    def test_planned_anew_without_a_change_it_stays_as_it_is(self, ways: Ways, now: datetime) -> None:
        application = ApplicationFactory()
        ways.run(now)
        Message.objects.filter(kind="removal_day").update(repeats=1)
        before = list(Message.objects.order_by("pk").values_list("pk", "state", "planned_for"))
        plan_raise(application)
        ways.run(now)
        assert list(Message.objects.order_by("pk").values_list("pk", "state", "planned_for")) == before

    @pytest.mark.parametrize("how", ["silence", "killed"])
    def test_whoever_spoke_for_both_speaks_for_both_again(self, ways: Ways, now: datetime, how: str) -> None:
        """The one due first led, and its key went; the other was stored before it."""
        patient = PatientFactory()
        second = due(application=ApplicationFactory(patient=patient, side="left"), planned_for=now + MINUTE)
        first = due(application=ApplicationFactory(patient=patient, side="right"), planned_for=now)
        assert second.pk < first.pk
        ways.sms.answers = [silence(handed_over=True) if how == "silence" else KeyboardInterrupt()]
        if how == "silence":
            ways.run(now)
        else:
            with pytest.raises(KeyboardInterrupt):
                ways.run(now)
        ways.run(now + 3 * MINUTE)
        assert (state(first)[0], state(second)[0], ways.sms.keys) == ("sent", "sent", [first.key, first.key])


@pytest.mark.parametrize(
    ("evening", "morning"),
    [
        (datetime(2027, 3, 13, 1, 50, tzinfo=UTC), datetime(2027, 3, 13, 13, tzinfo=UTC)),
        (datetime(2027, 3, 14, 1, 50, tzinfo=UTC), datetime(2027, 3, 14, 12, tzinfo=UTC)),
        (datetime(2027, 11, 7, 0, 50, tzinfo=UTC), datetime(2027, 11, 7, 13, tzinfo=UTC)),
    ],
    ids=["usual night", "clocks forward", "clocks back"],
)
def test_a_night_in_which_the_clocks_change_ends_at_eight_on_the_wall(
    ways: Ways, evening: datetime, morning: datetime
) -> None:
    """20:50 in New York, and the next 08:00 there (IANA tz database: 14 March and 7 November 2027)."""
    row = due(planned_for=evening, expires_at=evening + timedelta(days=1))
    ways.sms.answers = [refused(451)]
    for minutes in range(0, 24 * 60, 30):
        at = evening + minutes * MINUTE
        ways.run(at)
        assert bool(ways.sms.sent) is (at >= morning), at
    row.refresh_from_db()
    assert (row.state, len(ways.sms.sent), row.settled_at) == ("sent", 1, morning + 20 * MINUTE)


class Dies(BaseException):
    """The worker is gone in the middle of a send; nothing tidies up."""


def test_a_worker_that_dies_at_each_send_keeps_nobody_off_the_call_list(ways: Ways, now: datetime) -> None:
    """New York's 16 March 2027 begins at 04:00 UTC; the tape's window closed on the 15th, and nobody was told."""
    midnight = datetime(2027, 3, 16, 4, tzinfo=UTC)
    tape = ApplicationFactory()
    due(application=tape, planned_for=midnight, wake_at=midnight, expires_at=midnight + 600 * MINUTE)
    ways.sms.answers = ways.email.answers = [Dies() for _ in range(9)]
    Clinic.objects.update(quiet_from="05:00", quiet_until="06:00")
    with pytest.raises(Dies):
        ways.run(midnight)
    assert list(CallItem.objects.values_list("reason", "application", "closed_at")) == [("overdue", tape.pk, None)]
