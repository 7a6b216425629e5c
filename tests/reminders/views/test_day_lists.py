"""The day's paper as an answer: whose, of which day, offered where it is wanted, and put on record."""

from collections.abc import Callable

from django.test import Client

from clinic.models import Event, User
from taping.models import Application
from tests.factories import VisitFactory
from tests.factories.clinic import NOW

SignedIn = Callable[..., tuple[Client, User]]


def test_everybody_on_it_is_put_on_record_once_a_row(signed_in: SignedIn, tape: Application) -> None:
    client, user = signed_in("desk")
    visit = VisitFactory(starts_at=NOW)
    Application.objects.update(removal_day="2027-03-10", opens_on="2027-03-09", closes_on="2027-03-10")
    response = client.get("/sheets/day/")
    assert response.headers["Content-Type"] == "application/pdf"
    assert response.headers["Content-Disposition"] == 'inline; filename="day-2027-03-10.pdf"'
    assert response.headers["Cache-Control"] == "no-store, private"
    events = Event.objects.filter(verb="day_list.printed").order_by("id")
    assert [(one.actor, one.subject_type, one.subject_id, one.patient, one.fields, one.at) for one in events] == [
        (user, "visit", str(visit.pk), visit.patient, [], NOW),
        (user, "application", str(tape.pk), tape.patient, [], NOW),
    ]


def test_the_number_of_rows_costs_no_query(signed_in: SignedIn, queries_of: Callable[[str], int]) -> None:
    signed_in("desk")
    VisitFactory(starts_at=NOW)
    one = queries_of("/sheets/day/")
    for number in range(1, 30):
        VisitFactory(starts_at=NOW.replace(minute=number))
    assert queries_of("/sheets/day/") == one <= 12


def test_a_day_or_therapist_that_is_not_there(signed_in: SignedIn) -> None:
    client, _ = signed_in("desk")
    assert client.get("/sheets/day/?therapist=999999").status_code == 404
    odd = client.get("/sheets/day/?day=11/03/2027&therapist=x")
    assert odd.headers["Content-Disposition"] == 'inline; filename="day-2027-03-10.pdf"'


def test_today_and_the_diary_offer_it(signed_in: SignedIn) -> None:
    client, user = signed_in("therapist")
    assert f'href="/sheets/day/?therapist={user.pk}"' in client.get("/").content.decode()
    diary = client.get("/diary/?day=2027-03-11").content.decode()
    assert f'href="/sheets/day/?day=2027-03-11&amp;therapist={user.pk}"' in diary
    assert "/sheets/day/" not in client.get("/diary/?view=week").content.decode()
    client, _ = signed_in("desk")
    assert 'href="/sheets/day/"' in client.get("/").content.decode()
    assert 'href="/sheets/day/?day=2027-03-11&amp;therapist="' in client.get("/diary/?day=2027-03-11").content.decode()
