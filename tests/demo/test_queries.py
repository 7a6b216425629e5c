"""No page asks the database more than fifteen times, whoever opens it and however much there is to show."""

from collections.abc import Iterator
from datetime import date, timedelta
from itertools import count

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from clinic.models import Closure, OpeningHours, User
from reminders.demo.reading import Fixtures
from reminders.models import BatchSheet, CallItem, SheetBatch
from taping.models import Application, Correction, PainScore, ScreenDraft, SkinReport, StripEvent, TapeRoll
from tests.browser.pages import LIST, addresses, demo_list
from tests.demo.conftest import LOADED_AT
from tests.factories import CallItemFactory, HelperFactory, MessageFactory, PatientFactory, StripFactory, VisitFactory
from tests.factories.taping import ApplicationFactory, ScreenFactory, StripPlanFactory

pytestmark = pytest.mark.django_db

MOST_QUERIES, MOST_BYTES = 15, 25_000
FEW, MANY = 1, 30
ROLES = {
    "mira": "manager and therapist", "tobin": "therapist", "sela": "student", "dana": "desk", "olga": "manager",
    "alma": "all at once",
}  # fmt: skip
REGIONS = ("shoulder", "upper_back", "lower_back", "elbow", "forearm", "wrist", "hip", "calf", "ankle", "foot")
LISTS = {"today", "patient_page", "diary", "diary:week", "rolls", "settings", "strip_events"}
"""Pages that get longer, or nothing was shown by how much they ask. A page of messages never holds more than thirty."""
ORDINALS = count(1000)


@pytest.fixture
def clock(demo: Fixtures) -> Iterator[None]:
    with time_machine.travel(LOADED_AT, tick=False):
        yield


def _message(of: Application, number: int, state: str) -> None:
    MessageFactory(
        application=of,
        kind="skin_check",
        ordinal=next(ORDINALS),
        state=state,
        channel="sms",
        text="Look at the skin.",
        planned_for=LOADED_AT + timedelta(hours=number if state == "planned" else -number),
        settled_at=None if state == "planned" else LOADED_AT,
    )


def _day(number: int) -> None:
    """One row more of what Today, the diary, the messages and the settings list."""
    tobin, dana = User.objects.get(username="tobin"), User.objects.get(username="dana")
    late = ApplicationFactory(applied_at=LOADED_AT - timedelta(days=9), removal="clinic")
    due = ApplicationFactory(applied_at=LOADED_AT - timedelta(days=5), removal="helper")
    due.helper = HelperFactory(patient=due.patient, gets_messages=True, takes_tape_off=True)
    due.save()
    for reason, of in (("overdue", late), ("unreachable", due)):
        CallItemFactory(application=of, reason=reason, key=f"{reason}:more:{number}", owner=dana)
    report = SkinReport.objects.create(
        patient=due.patient, application=due, reported_at=LOADED_AT, reported_by="patient", signs=["itching"],
        words="It itches.", urgency="soon",
    )  # fmt: skip
    CallItemFactory(application=due, report=report, reason="skin_report", key=f"report:more:{number}", owner=tobin)
    MessageFactory(application=due, subject=f"report:{report.pk}", kind="duty_report", state="failed")
    student = User.objects.get(username="sela")
    screen = ScreenFactory(patient=PatientFactory(), asked_by=student, supervisor=tobin)
    ApplicationFactory(
        patient=screen.patient, applied_at=LOADED_AT - timedelta(minutes=5), screen=screen, supervisor=tobin
    )
    for word in ("planned", "sent", "failed", "uncertain", "dropped", "missed"):
        _message(late, number, word)
    for therapist in (tobin, student):
        for days in range(3):
            starts = LOADED_AT + timedelta(days=days, hours=9, minutes=number + 1)
            VisitFactory(therapist=therapist, starts_at=starts, ends_at=starts + timedelta(minutes=1))
    VisitFactory(starts_at=LOADED_AT - timedelta(days=1, minutes=number), state="did_not_attend")
    more = VisitFactory(starts_at=LOADED_AT + timedelta(minutes=10)).therapist
    OpeningHours.objects.create(therapist=more, weekday=number % 7, opens="08:00", closes="12:00")
    for whose in (None, tobin):
        Closure.objects.create(day=date(2027, 6, 1) + timedelta(days=number), therapist=whose, reason="shut")
    TapeRoll.objects.create(name=f"Roll {number}", colour="black", measured_by=tobin, measured_at=LOADED_AT)
    demo_list(LIST)


def _person(of: Application, number: int) -> None:
    """One row more of what a patient's pages and a tape's pages list."""
    patient, by, at = of.patient, of.therapist, LOADED_AT - timedelta(days=20 + number)
    StripFactory(plan=of.plan, position=100 + number)
    Correction.objects.create(application=of, at=LOADED_AT, by=by, what="posture", was="lying", became="sitting")
    for what in ("edge_trimmed", "strip_off"):
        StripEvent.objects.create(
            application=of, strip=of.plan.strips.first(), what=what, at=LOADED_AT, saved_at=LOADED_AT, saved_by=by
        )
    _message(of, number, "sent")
    HelperFactory(patient=patient)
    VisitFactory(patient=patient, starts_at=LOADED_AT + timedelta(days=2, minutes=number))
    screen = ScreenFactory(patient=patient, asked_by=by, made_at=at, answers={"fragile": "yes"}, outcome="clear")
    earlier = ApplicationFactory(
        patient=patient, screen=screen, applied_at=at, ended_at=at + timedelta(days=4), ended_how="off",
        ending_saved_by=by, region=REGIONS[number % len(REGIONS)],
    )  # fmt: skip
    StripFactory(plan=earlier.plan, position=1)
    for moment in ("before", "after", "next"):
        PainScore.objects.create(plan=earlier.plan, moment=moment, score=4, said_at=at, asked_by=by)
    for about, closed in ((earlier, at), (of, None)):
        report = SkinReport.objects.create(
            patient=patient, application=about, reported_at=at, reported_by="patient", signs=["itching"],
            urgency="soon", graded_by=by, graded_at=at, closed_at=closed,
        )  # fmt: skip
        CallItem.objects.create(
            patient=patient, application=about, report=report, reason="skin_report", since=at,
            key=f"person:{about.pk}:{number}", closed_at=closed, closed_by=by if closed else None,
        )  # fmt: skip
    if number < len(REGIONS):
        ScreenDraft.objects.get_or_create(
            patient=patient, region=REGIONS[number], side="left", closed_at=None,
            defaults={"begun_by": by, "begun_at": LOADED_AT, "saved_by": by, "saved_at": LOADED_AT},
        )  # fmt: skip
    ready = ScreenFactory(patient=patient, asked_by=by, made_at=LOADED_AT, region=REGIONS[number % len(REGIONS)])
    StripFactory(plan=StripPlanFactory(screen=ready), position=1)


def _grow(numbers: range, looked_at: list[Application], batch: SheetBatch) -> None:
    for number in numbers:
        _day(number)
        for of in looked_at:
            _person(of, number)
        BatchSheet.objects.create(batch=batch, application=ApplicationFactory(), position=number + 100)


def _looked_at(client: Client, pages: dict[str, str]) -> dict[str, tuple[int, int]]:
    """Queries of each page that this person may open, and the bytes that come over the wire."""
    found = {}
    for name, address in pages.items():
        with CaptureQueriesContext(connection) as queries:
            answer = client.get(address, headers={"Accept-Encoding": "gzip"})
        if answer.status_code != 403:
            assert answer.status_code in (200, 302, 404), f"{name} answers {answer.status_code}"
            found[name] = (len(queries), len(answer.content))
    return found


def test_every_page_asks_little_and_no_more_for_thirty_rows_than_for_one(clock: None) -> None:
    User.objects.create(username="olga", full_name="Olga Manager", is_manager=True)
    everything = {"is_manager": True, "is_therapist": True, "is_front_desk": True}
    User.objects.create(username="alma", full_name="Alma Everything", **everything)
    pages = addresses()
    worn = Application.objects.filter(ended_at=None).latest("applied_at")
    signs = Application.objects.filter(supervisor__isnull=False).earliest("id")
    ended = Application.objects.exclude(ended_at=None).earliest("id")
    batch = SheetBatch.objects.latest("id")
    clients = {}
    for who in ROLES:
        clients[who] = Client()
        clients[who].force_login(User.objects.get(username=who), backend="django.contrib.auth.backends.ModelBackend")
    _grow(range(FEW), [worn, signs, ended], batch)
    few = {who: _looked_at(client, pages) for who, client in clients.items()}
    _grow(range(FEW, MANY), [worn, signs, ended], batch)
    seen = {
        (name, ROLES[who]): (*few[who][name], *page)
        for who, client in clients.items()
        for name, page in _looked_at(client, pages).items()
    }
    assert {role for _, role in seen} == set(ROLES.values())
    assert {name for (name, _), (_, short, _, long) in seen.items() if long > 1.3 * short} >= LISTS
    assert {page: (before, now) for page, (before, _, now, _) in seen.items() if now > min(before, MOST_QUERIES)} == {}
    assert {page: size for page, (*_, size) in seen.items() if size > MOST_BYTES} == {}
