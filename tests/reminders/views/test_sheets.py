"""Sheets as answers: a PDF that nothing keeps, written down as read, for those who may see it."""

from collections.abc import Callable
from datetime import datetime

import pytest
from django.test import Client

from clinic.models import Event, User
from taping.models import Application
from tests.factories import MessageFactory, ScreenFactory, StripFactory

SignedIn = Callable[..., tuple[Client, User]]


def test_the_answer_is_a_pdf_that_nothing_keeps_under_a_name_of_no_person(
    signed_in: SignedIn, tape: Application
) -> None:
    client, _ = signed_in("desk")
    response = client.get(f"/applications/{tape.pk}/sheet/")
    assert response.headers["Content-Type"] == "application/pdf"
    assert response.headers["Content-Disposition"] == f'inline; filename="tape-{tape.pk}.pdf"'
    assert response.headers["Cache-Control"] == "no-store, private"
    assert response.content.startswith(b"%PDF-1.7")


def test_printing_is_written_down_without_values(signed_in: SignedIn, tape: Application, now: datetime) -> None:
    client, user = signed_in("desk")
    client.get(f"/applications/{tape.pk}/sheet/")
    event = Event.objects.get(verb="sheet.printed")
    assert (event.actor, event.patient, event.subject_id, event.at) == (user, tape.patient, str(tape.pk), now)


def test_a_tape_that_is_off_leads_to_its_page_which_says_so(
    signed_in: SignedIn, tape: Application, now: datetime
) -> None:
    client, _ = signed_in("desk")
    Application.objects.filter(pk=tape.pk).update(ended_at=now, ended_how="off")
    response = client.get(f"/applications/{tape.pk}/sheet/", follow=True)
    assert response.redirect_chain == [(f"/applications/{tape.pk}/", 302)]
    assert "there is nothing to hand out" in response.content.decode()


def test_it_takes_few_queries(signed_in: SignedIn, tape: Application, queries_of: Callable[[str], int]) -> None:
    signed_in("desk")
    assert queries_of(f"/applications/{tape.pk}/sheet/") <= 15


def test_a_screen_that_permits_tape_leads_to_its_page(signed_in: SignedIn, tape: Application) -> None:
    client, _ = signed_in("therapist")
    screen = tape.plan.screen
    response = client.get(f"/screens/{screen.pk}/no-tape/", follow=True)
    assert response.redirect_chain == [(f"/screens/{screen.pk}/", 302)]
    assert "This screen permits tape" in response.content.decode()


def test_each_sheet_has_a_name_of_its_own_and_is_written_down(signed_in: SignedIn, tape: Application) -> None:
    client, _ = signed_in("therapist")
    hold = ScreenFactory(patient=tape.patient, outcome="do_not_tape")
    named = {
        f"/screens/{hold.pk}/no-tape/": f"no-tape-{hold.pk}",
        f"/plans/{tape.plan_id}/sheet/": f"plan-{tape.plan_id}",
        f"/applications/{tape.pk}/record/": f"record-{tape.pk}",
    }
    told = {address: client.get(address).headers["Content-Disposition"] for address in named}
    assert told == {address: f'inline; filename="{name}.pdf"' for address, name in named.items()}
    assert list(Event.objects.filter(verb="sheet.printed").values_list("patient", flat=True)) == [tape.patient_id] * 3


@pytest.mark.parametrize("address", ["/applications/{tape}/record/", "/plans/{plan}/sheet/"])
def test_the_other_sheets_take_few_queries(
    signed_in: SignedIn, tape: Application, queries_of: Callable[[str], int], address: str
) -> None:
    signed_in("therapist")

    def more(first: int, last: int) -> None:
        for number in range(first, last + 1):
            MessageFactory(application=tape, ordinal=number)
            StripFactory(plan=tape.plan, position=number)

    more(1, 10)
    few = queries_of(address.format(tape=tape.pk, plan=tape.plan_id))
    more(11, 100)
    assert queries_of(address.format(tape=tape.pk, plan=tape.plan_id)) == few <= 15
