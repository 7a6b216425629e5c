"""Clerks press the button for the same half hour at once; the database lets one of them have it."""

from collections.abc import Callable
from datetime import datetime, timedelta
from itertools import pairwise
from threading import Barrier, Thread
from uuid import uuid4

import pytest
from django.db import connections
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinic.models import Clinic, Event, Patient, User, Visit
from clinic.services.events import Actor
from clinic.services.visits import TimeTaken, visit_book, visit_move
from tests.factories.clinic import PatientFactory, UserFactory, VisitFactory

CLERKS = 50

pytestmark = pytest.mark.django_db(transaction=True)
postgres_only = pytest.mark.skipif(
    connections["default"].vendor != "postgresql", reason="needs DATABASE_URL to name a PostgreSQL database"
)
FEW = 8  # what a desk with the embedded database can press at once: it lets one writer in after the other


def at_once(act: Callable[[int], object], clerks: int = CLERKS) -> list[str]:
    """What became of each clerk's try, all of them started together: "done", or the class of what was raised."""
    ready, outcomes = Barrier(clerks), list[str]()

    def clerk(number: int) -> None:
        ready.wait()
        try:
            act(number)
            outcomes.append("done")
        except Exception as raised:  # noqa: BLE001  # whatever it is, the assertion names it
            outcomes.append(type(raised).__name__)
        finally:
            connections.close_all()

    threads = [Thread(target=clerk, args=(number,)) for number in range(clerks)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return sorted(outcomes)


def book(now: datetime, start: datetime, therapist: User, patient: Patient) -> Visit:
    unsaved = Visit(ends_at=start + timedelta(minutes=30))
    actor = Actor(word="clerk")
    return visit_book(actor=actor, now=now, patient=patient, therapist=therapist, starts_at=start, visit=unsaved)


def test_one_of_a_few_clerks_gets_the_half_hour_on_either_database(now: datetime) -> None:
    therapist, patient = UserFactory(), PatientFactory()
    outcomes = at_once(lambda number: book(now, now + timedelta(days=1), therapist, patient), FEW)
    assert outcomes == [TimeTaken.__name__] * (FEW - 1) + ["done"]
    assert Visit.objects.count() == 1


@pytest.mark.postgres
@postgres_only
def test_one_of_fifty_clerks_gets_the_half_hour(now: datetime) -> None:
    therapist, patient = UserFactory(), PatientFactory()
    outcomes = at_once(lambda number: book(now, now + timedelta(days=1), therapist, patient))
    assert outcomes == [TimeTaken.__name__] * (CLERKS - 1) + ["done"]
    assert (Visit.objects.count(), Event.objects.filter(verb="visit.booked").count()) == (1, 1)


@pytest.mark.postgres
@postgres_only
def test_fifty_overlapping_times_end_without_an_overlap(now: datetime) -> None:
    therapist, patient, noon = UserFactory(), PatientFactory(), now + timedelta(days=1)
    outcomes = at_once(lambda number: book(now, noon + timedelta(minutes=7 * number), therapist, patient))
    held = list(Visit.objects.order_by("starts_at").values_list("starts_at", "ends_at"))
    assert outcomes.count("done") == len(held) == CLERKS - outcomes.count(TimeTaken.__name__)
    assert all(earlier[1] <= later[0] for earlier, later in pairwise(held))


@pytest.mark.postgres
@postgres_only
def test_fifty_visits_moved_into_one_half_hour(now: datetime) -> None:
    therapist, start = UserFactory(), now + timedelta(days=1)
    visits = [VisitFactory(therapist=therapist, starts_at=start + number * timedelta(hours=1)) for number in range(50)]
    wanted, actor = start - timedelta(hours=2), Actor(word="clerk")
    outcomes = at_once(lambda number: visit_move(actor=actor, now=now, visit=visits[number], starts_at=wanted))
    assert outcomes == [TimeTaken.__name__] * (CLERKS - 1) + ["done"]
    assert Visit.objects.filter(starts_at=wanted).count() == 1


@pytest.mark.postgres
@postgres_only
def test_fifty_clerks_at_fifty_pages_get_one_visit_and_forty_nine_forms_back(clinic: Clinic) -> None:
    """Through the page, each logged in, each with a note of their own: nobody types it twice."""
    therapist, patient = UserFactory(full_name="Thea Pist"), PatientFactory()
    start = (timezone.now() + timedelta(days=1)).replace(minute=30, second=0, microsecond=0).isoformat()
    clerks = [Client() for _ in range(CLERKS)]
    for clerk in clerks:
        clerk.force_login(UserFactory(desk=True))
    answers: dict[int, tuple[int, str]] = {}

    def press(number: int) -> None:
        form = {"therapist": therapist.pk, "purpose": "other", "minutes": 30, "note": f"clerk {number}:"}
        address = f"{reverse('visit_book')}?patient={patient.pk}"
        answer = clerks[number].post(address, {**form, "starts_at": start, "once": str(uuid4())})
        answers[number] = answer.status_code, answer.content.decode()

    assert at_once(press) == ["done"] * CLERKS
    assert sorted(status for status, _ in answers.values()) == [302, *[422] * (CLERKS - 1)]
    told = {number: page for number, (status, page) in answers.items() if status == 422}
    assert all("That time was just taken." in page for page in told.values())
    assert all(f'name="note" value="clerk {number}:"' in page for number, page in told.items())
    assert Visit.objects.count() == 1
