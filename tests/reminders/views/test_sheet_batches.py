"""The pages of several sheets: what there is to make, how far they are, stop, and the paper."""

from collections.abc import Callable
from datetime import datetime
from uuid import uuid4

import pytest
from django.test import Client

from clinic.models import Event, User
from reminders.models import BatchSheet, SheetBatch
from taping.models import Application
from tests.factories import ApplicationFactory

SignedIn = Callable[..., tuple[Client, User]]


@pytest.fixture
def batch(signed_in: SignedIn, tape: Application) -> tuple[Client, SheetBatch]:
    client, _ = signed_in("desk")
    client.post("/sheets/", {"kind": "aftercare", "once": str(uuid4())})
    return client, SheetBatch.objects.get()


def test_it_says_how_many_there_are_to_make_and_why_there_are_none(signed_in: SignedIn, tape: Application) -> None:
    client, _ = signed_in("desk")
    page = client.get("/sheets/").content.decode()
    assert "Make 1 sheet to take home, of tape put on today" in page
    assert "No sheets of tape that comes off today: no tape on the skin comes off today." in page


def test_the_same_form_twice_begins_one_batch(signed_in: SignedIn, tape: Application) -> None:
    client, _ = signed_in("desk")
    form = {"kind": "aftercare", "once": str(uuid4())}
    assert [client.post("/sheets/", form).status_code for _ in range(2)] == [302, 302]
    assert SheetBatch.objects.count() == 1


def test_a_kind_that_is_none_begins_nothing(signed_in: SignedIn, tape: Application) -> None:
    client, _ = signed_in("desk")
    assert client.post("/sheets/", {"kind": "all"}).status_code == 200
    assert not SheetBatch.objects.exists()


def test_looking_makes_nothing_and_the_button_makes_the_next(batch: tuple[Client, SheetBatch]) -> None:
    client, made = batch
    page = client.get(f"/sheets/{made.pk}/").content.decode()
    assert "0 of 1 sheet made." in page
    assert "Make the next sheets" in page
    assert BatchSheet.objects.get().state == "waiting"
    after = client.post(f"/sheets/{made.pk}/", {"next": "yes"}, follow=True).content.decode()
    assert "1 of 1 sheet made." in after
    assert "Open 1 sheet to print (PDF)" in after
    assert "Make the next sheets" not in after


def test_with_htmx_the_page_asks_for_more_until_nothing_waits(batch: tuple[Client, SheetBatch]) -> None:
    client, made = batch
    assert 'hx-trigger="load delay:200ms"' in client.get(f"/sheets/{made.pk}/").content.decode()
    part = client.post(f"/sheets/{made.pk}/", headers={"HX-Request": "true"}).content.decode()
    assert part.startswith('<div id="sheet-batch"')
    assert "hx-trigger" not in part


def test_stop(batch: tuple[Client, SheetBatch], now: datetime, tape: Application) -> None:
    client, made = batch
    page = client.post(f"/sheets/{made.pk}/", {"stop": "yes"}, follow=True).content.decode()
    made.refresh_from_db()
    assert made.stopped_at == now
    assert "Stopped 10:00." in page
    assert "1 sheet left out, since the batch was stopped" in page
    assert "hx-trigger" not in page


def test_what_could_not_be_made_is_named_with_a_way_to_its_tape(
    batch: tuple[Client, SheetBatch], tape: Application
) -> None:
    client, made = batch
    BatchSheet.objects.update(state="failed", why="It could not be made.")
    page = client.get(f"/sheets/{made.pk}/").content.decode()
    assert (
        f'<a href="/applications/{tape.pk}/"><bdi>Ada Quillfeather</bdi>, left knee</a>: It could not be made.' in page
    )


def test_the_paper_is_a_pdf_that_nothing_keeps_and_each_sheet_is_written_down(
    batch: tuple[Client, SheetBatch], tape: Application
) -> None:
    client, made = batch
    client.post(f"/sheets/{made.pk}/")
    response = client.get(f"/sheets/{made.pk}/paper/")
    assert response.headers["Content-Disposition"] == f'inline; filename="sheets-2027-03-10-{made.pk}.pdf"'
    assert response.headers["Cache-Control"] == "no-store, private"
    assert response.content.startswith(b"%PDF")
    assert Event.objects.filter(verb="sheet.printed").values_list("patient", flat=True).get() == tape.patient_id


def test_without_a_sheet_the_paper_leads_back(batch: tuple[Client, SheetBatch]) -> None:
    client, made = batch
    page = client.get(f"/sheets/{made.pk}/paper/", follow=True)
    assert page.redirect_chain == [(f"/sheets/{made.pk}/", 302)]
    assert "There is no sheet to print." in page.content.decode()


def test_thirty_rows_take_no_more_queries_than_one(
    batch: tuple[Client, SheetBatch], queries_of: Callable[[str], int]
) -> None:
    _, made = batch
    one = queries_of(f"/sheets/{made.pk}/")
    for number in range(2, 32):
        BatchSheet.objects.create(batch=made, application=ApplicationFactory(), position=number, state="failed")
    assert queries_of(f"/sheets/{made.pk}/") == one
    assert one <= 15
