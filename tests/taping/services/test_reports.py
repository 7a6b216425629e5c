"""A report takes its urgency from its signs; only a therapist closes it."""

from datetime import date, datetime, timedelta
from typing import Any

import pytest

from clinic.models import Clinic, Event
from clinic.services.events import Actor
from taping.models import Application, SkinReport
from taping.services.refusals import TapingRefused
from taping.services.reports import ReportGrade, report_close, report_grade, report_save
from tests.factories import ApplicationFactory, UserFactory

pytestmark = pytest.mark.django_db

PATIENT = Actor(word="patient link")


@pytest.fixture
def tape(clinic: Clinic) -> Application:
    made: Application = ApplicationFactory()
    return made


def save(tape: Application, now: datetime, signs: list[str], words: str = "it hurts") -> SkinReport:
    return report_save(actor=PATIENT, now=now, application=tape, signs=signs, words=words, reported_by="patient")


def test_report_keeps_signs_and_the_patients_words(tape: Application, now: datetime) -> None:
    report = save(tape, now, ["itching", "rash"], "  red dots ")
    assert (report.signs, report.words, report.reported_by) == (["itching", "rash"], "red dots", "patient")
    assert (report.kind, report.grade, report.closed_at) == ("", "", None)
    assert Event.objects.get(verb="report.saved").fields == []


@pytest.mark.parametrize(
    ("signs", "urgency", "first"),
    [
        (["breathing", "itching"], "emergency", "emergency number"),
        (["cold_or_blue"], "today", "The tape comes off now"),
        (["blister"], "today", "Soak"),
        ([], "today", "Be seen today"),
    ],
)
def test_urgency_and_first_advice_follow_from_the_signs(
    tape: Application, now: datetime, signs: list[str], urgency: str, first: str
) -> None:
    report = save(tape, now, signs)
    assert report.urgency == urgency
    assert first.lower() in report.advice.splitlines()[0].lower()


def test_who_may_not_take_it_off_is_not_told_to(tape: Application, now: datetime) -> None:
    tape.removal = "clinic"
    tape.save()
    assert "call us, or ask the helper" in save(tape, now, ["rash"]).advice


@pytest.mark.parametrize(("minutes", "kept"), [(0, 0), (29, 29), (30, 30)])
def test_minutes_since_removal_are_kept(tape: Application, now: datetime, minutes: int, kept: int) -> None:
    tape.ended_at, tape.ended_how = now - timedelta(minutes=minutes), "off"
    tape.save()
    assert save(tape, now, ["redness"]).minutes_after_removal == kept


def test_report_about_worn_tape_has_no_minutes(tape: Application, now: datetime) -> None:
    assert save(tape, now, ["redness"]).minutes_after_removal is None


def test_messages_are_planned_anew(tape: Application, now: datetime) -> None:
    save(tape, now, ["rash"])
    tape.refresh_from_db()
    assert tape.plan_version == 2


@pytest.mark.parametrize(
    ("more", "field"), [({"signs": ["happiness"]}, "signs"), ({"signs": ["rash"], "words": "x" * 2001}, "words")]
)
def test_what_cannot_be_kept_is_refused(tape: Application, now: datetime, more: dict[str, Any], field: str) -> None:
    with pytest.raises(TapingRefused) as refused:
        save(tape, now, **more)
    assert refused.value.field == field
    assert SkinReport.objects.count() == 0


def test_therapist_closes_once(tape: Application, now: datetime) -> None:
    report = save(tape, now, ["rash"])
    first, second = UserFactory(), UserFactory()
    closed = report_close(
        actor=Actor(user=first), now=now, report=report, grade=ReportGrade(kind="rash", grade="mild", told="the doctor")
    )
    again = report_close(
        actor=Actor(user=second), now=now + timedelta(hours=1), report=report, grade=ReportGrade(kind="tear")
    )
    assert (closed.kind, closed.grade, closed.told, closed.graded_by) == ("rash", "mild", "the doctor", first)
    assert (again.kind, again.graded_by, again.closed_at) == ("rash", first, now)


def test_advice_given_at_once_stays_beside_what_the_therapist_advised(tape: Application, now: datetime) -> None:
    report = save(tape, now, ["rash"])
    at_once = report.advice
    closed = report_close(
        actor=Actor(user=UserFactory()), now=now, report=report, grade=ReportGrade(kind="rash", advice=" cool it ")
    )
    assert (closed.advice, closed.advised) == (at_once, "cool it")


def test_a_finding_leaves_the_report_open_until_it_is_closed(tape: Application, now: datetime) -> None:
    report, first, second = save(tape, now, ["rash"]), UserFactory(), UserFactory()
    tape.refresh_from_db()
    version = tape.plan_version
    open_still = report_grade(
        actor=Actor(user=first),
        now=now,
        report=report,
        grade=ReportGrade(kind="rash", told_whom=("nobody",), follow_up_on=date(2027, 3, 12)),
    )
    tape.refresh_from_db()
    assert (open_still.closed_at, open_still.told_whom, open_still.graded_by) == (None, ["nobody"], first)
    assert tape.plan_version == version
    later = now + timedelta(days=2)
    closed = report_close(
        actor=Actor(user=second), now=later, report=report, grade=ReportGrade(kind="tear", told_whom=("doctor",))
    )
    assert (closed.kind, closed.closed_at, closed.graded_at, closed.graded_by) == ("tear", later, later, second)
    after = report_grade(actor=Actor(user=first), now=later, report=report, grade=ReportGrade(kind="rash"))
    assert after.kind == "tear"
    assert [event.verb for event in Event.objects.filter(verb__startswith="report.").order_by("id")] == [
        "report.saved",
        "report.graded",
        "report.closed",
    ]


def test_a_follow_up_is_today_or_later_on_the_clinics_calendar(tape: Application, now: datetime) -> None:
    """22:30 on 10 March in New York is 11 March in UTC; the clinic's today is the 10th."""
    evening = now + timedelta(hours=12, minutes=30)
    report, actor = save(tape, now, ["rash"]), Actor(user=UserFactory())
    grade = ReportGrade(kind="rash", follow_up_on=date(2027, 3, 9))
    with pytest.raises(TapingRefused) as refused:
        report_grade(actor=actor, now=evening, report=report, grade=grade)
    assert refused.value.field == "follow_up_on"
    grade = ReportGrade(kind="rash", follow_up_on=date(2027, 3, 10))
    assert report_grade(actor=actor, now=evening, report=report, grade=grade).follow_up_on == date(2027, 3, 10)


@pytest.mark.parametrize("role", ["desk", "student", "manager"])
def test_nobody_else_closes_it(tape: Application, now: datetime, role: str) -> None:
    report = save(tape, now, ["rash"])
    with pytest.raises(TapingRefused, match="Only a therapist"):
        report_close(
            actor=Actor(user=UserFactory(**{role: True})), now=now, report=report, grade=ReportGrade(kind="rash")
        )


def test_closing_says_what_was_found(tape: Application, now: datetime) -> None:
    with pytest.raises(TapingRefused) as refused:
        report_close(actor=Actor(user=UserFactory()), now=now, report=save(tape, now, []), grade=ReportGrade(kind=" "))
    assert refused.value.field == "kind"
