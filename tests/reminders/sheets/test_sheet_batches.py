"""Several sheets at once: one bad one is named and the others delivered; stop means stop."""

import re
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from itertools import count
from typing import Any

import pytest

from clinic.models import Clinic, Event, User
from clinic.services.events import Actor
from reminders.models import BatchSheet, SheetBatch
from reminders.services import sheet_batches
from reminders.services.links import link_address
from reminders.services.sheet_batches import batch_paper, batch_start, batch_step, batch_stop
from reminders.sheets.aftercare import aftercare_sheet
from reminders.sheets.printing import Fit, PaperNotAvailable, print_html
from taping.models import Application
from tests.factories import ApplicationFactory, PatientFactory, StripFactory, UserFactory
from tests.reminders.sheets.conftest import reader_of


@pytest.fixture
def desk(db: None) -> User:
    user: User = UserFactory(desk=True)
    return user


@pytest.fixture
def tapes(clinic: Clinic, now: datetime) -> list[Application]:
    """Three tapes put on today."""
    return [
        ApplicationFactory(patient=PatientFactory(full_name=f"Ada Quillfeather {name}", call_me=name))
        for name in ("Ada", "Bea", "Cy")
    ]


def started(desk: User, clinic: Clinic, now: datetime, kind: str = "aftercare") -> SheetBatch:
    day = now.astimezone(clinic.zone).date()
    return batch_start(actor=Actor(user=desk), now=now, kind=kind, day=day, clinic=clinic)


def states(batch: SheetBatch) -> list[str]:
    return list(batch.sheets.values_list("state", flat=True))


def test_todays_tape_that_is_on_is_listed_in_its_order(
    desk: User, clinic: Clinic, now: datetime, tapes: list[Application]
) -> None:
    ApplicationFactory(ended_at=now, ended_how="off")
    ApplicationFactory(applied_at=now - timedelta(days=1))
    batch = started(desk, clinic, now)
    assert list(batch.sheets.values_list("application", flat=True)) == [tape.pk for tape in tapes]
    assert states(batch) == ["waiting"] * 3


def test_tape_that_comes_off_today_is_the_other_kind(desk: User, clinic: Clinic, now: datetime) -> None:
    due = ApplicationFactory(applied_at=now - timedelta(days=5))
    ApplicationFactory(applied_at=now)
    batch = started(desk, clinic, now, kind="removal")
    assert list(batch.sheets.values_list("application", flat=True)) == [due.pk]


def test_all_are_made_and_come_in_one_paper(
    desk: User, clinic: Clinic, now: datetime, tapes: list[Application], codes_of: Callable[[bytes], list[str]]
) -> None:
    batch = started(desk, clinic, now)
    batch_step(batch=batch, clinic=clinic, clock=lambda: now)
    assert states(batch) == ["made"] * 3
    made = batch_paper(batch=batch, clinic=clinic, now=now)
    assert made.printed is not None
    assert made.printed.pages == 3
    assert sorted(codes_of(made.printed.pdf)) == sorted(link_address(tape) for tape in tapes)
    pages = [page.extract_text() for page in reader_of(made.printed.pdf).pages]
    assert [name in page for name, page in zip(("Ada", "Bea", "Cy"), pages, strict=True)] == [True] * 3

    catalogue: Any = reader_of(made.printed.pdf).trailer["/Root"]
    assert (catalogue["/Lang"], bool(catalogue["/MarkInfo"]["/Marked"])) == ("en", True)


def test_each_keeps_the_pictures_it_has_alone(
    desk: User, clinic: Clinic, now: datetime, tapes: list[Application], monkeypatch: pytest.MonkeyPatch
) -> None:
    for place in ("", "patellar_tendon"):
        StripFactory(plan=tapes[0].plan, position=1 + bool(place), place=place)
    batch = started(desk, clinic, now)
    batch_step(batch=batch, clinic=clinic, clock=lambda: now)
    alone = [print_html(aftercare_sheet(tape, clinic=clinic, now=now), paper="letter", one_page=True) for tape in tapes]
    assert [Fit(row.tight, row.grown_mm) for row in batch.sheets.order_by("position")] == [one.fit for one in alone]
    htmls: list[str] = []
    monkeypatch.setattr(sheet_batches, "print_together", lambda given, **_: htmls.extend(given))
    batch_paper(batch=batch, clinic=clinic, now=now)
    heights = [re.findall(r'<body [^>]*style="--top: (\d+)mm', html) for html in htmls]
    assert heights == [["40"], ["53"], ["53"]]


def test_one_bad_sheet_stops_no_other_and_is_named(
    desk: User, clinic: Clinic, now: datetime, tapes: list[Application], monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = aftercare_sheet

    def breaks(tape: Application, **rest: Any) -> str:
        if tape.pk == tapes[1].pk:
            raise ZeroDivisionError
        return whole(tape, **rest)

    monkeypatch.setattr(sheet_batches, "aftercare_sheet", breaks)
    batch = started(desk, clinic, now)
    batch_step(batch=batch, clinic=clinic, clock=lambda: now)
    made = batch_paper(batch=batch, clinic=clinic, now=now)
    assert states(batch) == ["made", "failed", "made"]
    assert made.printed is not None
    assert [tape.pk for tape in made.tapes] == [tapes[0].pk, tapes[2].pk]
    assert [(row.application_id, why) for row, why in made.left_out] == [
        (tapes[1].pk, "It could not be made. Open its tape and print it alone, or tell us.")
    ]


def test_without_the_library_for_paper_each_sheet_says_so(
    desk: User, clinic: Clinic, now: datetime, tapes: list[Application], monkeypatch: pytest.MonkeyPatch
) -> None:
    def missing(*_: Any, **__: Any) -> None:
        raise PaperNotAvailable

    monkeypatch.setattr(sheet_batches, "print_html", missing)
    batch = started(desk, clinic, now)
    batch_step(batch=batch, clinic=clinic, clock=lambda: now)
    assert set(batch.sheets.values_list("state", "why")) == {
        ("failed", "A library that sets words on paper is missing on this computer.")
    }


def test_a_turn_ends_after_its_time_and_the_next_one_goes_on(
    desk: User, clinic: Clinic, now: datetime, tapes: list[Application]
) -> None:
    batch = started(desk, clinic, now)
    seconds: Iterator[int] = count()
    batch_step(batch=batch, clinic=clinic, clock=lambda: now + timedelta(seconds=next(seconds)))
    assert states(batch) == ["made", "waiting", "waiting"]
    batch_step(batch=batch, clinic=clinic, clock=lambda: now)
    assert states(batch) == ["made"] * 3


def test_after_stop_nothing_more_is_made_and_what_is_made_stays(
    desk: User, clinic: Clinic, now: datetime, tapes: list[Application]
) -> None:
    batch = started(desk, clinic, now)
    seconds: Iterator[int] = count()
    batch_step(batch=batch, clinic=clinic, clock=lambda: now + timedelta(seconds=next(seconds)))
    batch_stop(actor=Actor(user=desk), now=now, batch=batch)
    batch_stop(actor=Actor(user=desk), now=now, batch=batch)
    batch_step(batch=batch, clinic=clinic, clock=lambda: now)
    assert states(batch) == ["made", "waiting", "waiting"]
    made = batch_paper(batch=batch, clinic=clinic, now=now)
    assert [tape.pk for tape in made.tapes] == [tapes[0].pk]
    assert {why for _, why in made.left_out} == {"It was not made: the batch was stopped first."}
    assert Event.objects.filter(verb="sheets.stopped").count() == 1


def test_a_sheet_whose_process_died_is_named_and_the_others_go_on(
    desk: User, clinic: Clinic, now: datetime, tapes: list[Application]
) -> None:
    batch = started(desk, clinic, now)
    BatchSheet.objects.filter(batch=batch, position=1).update(state="making", begun_at=now)
    batch_step(batch=batch, clinic=clinic, clock=lambda: now + timedelta(minutes=2))
    assert states(batch) == ["making", "made", "made"]
    batch_step(batch=batch, clinic=clinic, clock=lambda: now + timedelta(minutes=2, seconds=1))
    assert states(batch) == ["failed", "made", "made"]


def test_tape_that_came_off_in_the_meantime_is_left_out(
    desk: User, clinic: Clinic, now: datetime, tapes: list[Application]
) -> None:
    batch = started(desk, clinic, now)
    batch_step(batch=batch, clinic=clinic, clock=lambda: now)
    Application.objects.filter(pk=tapes[0].pk).update(ended_at=now, ended_how="off")
    made = batch_paper(batch=batch, clinic=clinic, now=now)
    assert [why for _, why in made.left_out] == ["This tape is off: there is nothing to hand out."]
    assert [tape.pk for tape in made.tapes] == [tapes[1].pk, tapes[2].pk]


def test_no_paper_without_a_sheet(desk: User, clinic: Clinic, now: datetime) -> None:
    batch = started(desk, clinic, now)
    assert batch_paper(batch=batch, clinic=clinic, now=now).printed is None


def test_one_name_that_cannot_be_printed_is_said_on_its_own_sheet_alone(
    desk: User, clinic: Clinic, now: datetime, text_of: Callable[[bytes], str]
) -> None:
    for name in ("Ada", "\U00010920\U00010921"):
        ApplicationFactory(patient=PatientFactory(call_me=name))
    batch = started(desk, clinic, now)
    batch_step(batch=batch, clinic=clinic, clock=lambda: now)
    made = batch_paper(batch=batch, clinic=clinic, now=now)
    assert made.printed is not None
    assert made.printed.missing == ("Lydian",)
    assert text_of(made.printed.pdf).count("no font for Lydian letters") == 1


def test_nothing_of_a_patient_is_stored_with_a_batch(
    desk: User, clinic: Clinic, now: datetime, tapes: list[Application]
) -> None:
    batch = started(desk, clinic, now)
    batch_step(batch=batch, clinic=clinic, clock=lambda: now)
    stored = str(list(BatchSheet.objects.values())) + str(list(SheetBatch.objects.values()))
    for secret in ("Quillfeather", "Ada", link_address(tapes[0])):
        assert secret not in stored


def test_somebody_has_to_be_logged_in(clinic: Clinic, now: datetime) -> None:
    with pytest.raises(ValueError, match="logged in"):
        batch_start(actor=Actor(word="engine"), now=now, kind="aftercare", day=now.date(), clinic=clinic)
