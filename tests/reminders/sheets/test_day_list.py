"""The day on paper, read back by pdftotext: in order, with what to call people, page by page."""

from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from clinic.models import Clinic, User
from reminders.rules.paper import paper_for
from reminders.selectors.day_list import DayList, day_list
from reminders.sheets.day_list import day_list_sheet
from reminders.sheets.printing import Printed, print_html
from tests.factories import ApplicationFactory, HelperFactory, PatientFactory, UserFactory, VisitFactory
from tests.reminders.sheets.conftest import fonts_of, reader_of

DAY = date(2027, 3, 11)


@pytest.fixture
def thea(db: None) -> User:
    made: User = UserFactory(full_name="Thea Pist")
    return made


@pytest.fixture
def listed(clinic: Clinic, now: datetime) -> Callable[..., DayList]:
    """listed(therapist): the list of the day after the tests' moment."""
    return lambda therapist=None: day_list(DAY, zone=clinic.zone, now=now, therapist=therapist)


def printed(listed: DayList, clinic: Clinic, by: User, now: datetime) -> Printed:
    html = day_list_sheet(listed, clinic=clinic, printed_by=by, now=now)
    return print_html(html, paper=paper_for(clinic.country))


def at(now: datetime, hour: int, minute: int = 0) -> datetime:
    """That time of the listed day on the clinic's clock, five hours behind UTC."""
    return now.replace(day=11, hour=hour + 5, minute=minute)


def test_the_desks_list_has_times_names_numbers_and_tape_in_the_order_of_the_clock(
    clinic: Clinic, thea: User, now: datetime, listed: Callable[..., DayList], text_of: Callable[[bytes], str]
) -> None:
    late = PatientFactory(full_name="Bea Reed", call_me="", phone="+12125550102", interpreter="sign language")
    ada = PatientFactory(full_name="Ada Quill", call_me="Adi", phone="+12125550101")
    VisitFactory(patient=late, therapist=thea, starts_at=at(now, 14), purpose="follow_up")
    removal = VisitFactory(patient=ada, therapist=thea, starts_at=at(now, 9), purpose="removal")
    ApplicationFactory(patient=ada, removal_visit=removal, removal_day=DAY)
    text = text_of(printed(listed(), clinic, thea, now).pdf)
    for words in (
        "Thursday, 11 March 2027: everybody",
        "09:00–09:30",
        "Ada Quill called Adi",
        "Tape comes off: left knee",
        "+1 212-555-0101",
        "14:00–14:30",
        "interpreter: sign language",
        "No other tape has to come off on this day.",
        "printed Wed 10 Mar 2027, 10:00 by Thea Pist",
        "Page 1 of 1",
    ):
        assert words in text
    assert text.index("Ada Quill") < text.index("Bea Reed")


def test_a_therapists_list_is_their_own_and_has_no_telephone(
    clinic: Clinic, thea: User, now: datetime, listed: Callable[..., DayList], text_of: Callable[[bytes], str]
) -> None:
    ada = PatientFactory(full_name="Ada Quill", phone="+12125550101")
    VisitFactory(patient=ada, therapist=thea, starts_at=at(now, 9))
    VisitFactory(patient__full_name="Bea Reed", starts_at=at(now, 9))
    ApplicationFactory(patient__full_name="Cy Moss", removal_day=DAY)
    text = text_of(printed(listed(thea), clinic, thea, now).pdf)
    assert "Thursday, 11 March 2027: Thea Pist" in text
    assert "Ada Quill" in text
    assert [word for word in ("Bea Reed", "Cy Moss", "555-0101", "Telephone") if word in text] == []


def test_neither_grade_note_nor_birth_date_stands_on_it(
    clinic: Clinic, thea: User, now: datetime, listed: Callable[..., DayList]
) -> None:
    ada = PatientFactory(full_name="Ada Quill", note="between us", email="ada@example.org")
    VisitFactory(patient=ada, therapist=thea, starts_at=at(now, 9), note="Her knee again")
    tape = ApplicationFactory(patient=ada, removal_day=DAY)
    tape.plan.screen.note, tape.plan.reason = "thin skin", "after a fall"
    tape.plan.screen.save()
    tape.plan.save()
    html = day_list_sheet(listed(), clinic=clinic, printed_by=thea, now=now)
    assert "Ada Quill" in html
    secrets = ("between us", "Her knee again", "thin skin", "after a fall", "1985", "ada@example.org")
    assert [secret for secret in secrets if secret in html] == []


def test_whoever_gets_the_messages_is_to_be_asked_for(
    clinic: Clinic, thea: User, now: datetime, listed: Callable[..., DayList], text_of: Callable[[bytes], str]
) -> None:
    ada = PatientFactory(full_name="Ada Quill", phone="+12125550101")
    HelperFactory(patient=ada, full_name="Hal Per", phone="+12125550177", gets_messages=True)
    ApplicationFactory(patient=ada, removal_day=DAY, removal="home")
    text = text_of(printed(listed(), clinic, thea, now).pdf)
    assert "the patient, at home" in text
    assert "+1 212-555-0177 ask for Hal Per" in text
    assert "555-0101" not in text


def test_cancelled_visits_and_tape_that_is_off_are_left_out_and_the_others_days_too(
    clinic: Clinic, thea: User, now: datetime, listed: Callable[..., DayList], text_of: Callable[[bytes], str]
) -> None:
    VisitFactory(patient__full_name="Ada Gone", state="cancelled", starts_at=at(now, 9))
    VisitFactory(patient__full_name="Bea Next", starts_at=at(now, 9) + timedelta(days=1))
    ApplicationFactory(patient__full_name="Cy Off", removal_day=DAY, ended_at=now, ended_how="off")
    ApplicationFactory(patient__full_name="Di Later")
    text = text_of(printed(listed(), clinic, thea, now).pdf)
    assert [name for name in ("Ada Gone", "Bea Next", "Cy Off", "Di Later") if name in text] == []
    assert "No visit is booked on this day." in text


def test_overdue_tape_stands_on_todays_list_alone(clinic: Clinic, now: datetime) -> None:
    tape = ApplicationFactory(applied_at=now - timedelta(days=7))
    assert tape.removal_day == date(2027, 3, 8)
    lists = [day_list(day, zone=clinic.zone, now=now) for day in (date(2027, 3, 10), DAY)]
    assert [[(row.tape, row.late) for row in one.tapes] for one in lists] == [[(tape, True)], []]


def test_states_known_already_stand_in_words(
    clinic: Clinic, thea: User, now: datetime, listed: Callable[..., DayList]
) -> None:
    VisitFactory(starts_at=at(now, 9), state="arrived")
    VisitFactory(starts_at=at(now, 10), state="booked")
    html = day_list_sheet(listed(), clinic=clinic, printed_by=thea, now=now)
    assert (html.count('class="box"'), html.count('<td class="tick">arrived</td>')) == (1, 1)


def test_many_pages_repeat_the_head_and_cut_no_row(
    clinic: Clinic, thea: User, now: datetime, listed: Callable[..., DayList]
) -> None:
    for number in range(60):
        patient = PatientFactory(full_name=f"Ada first-{number} last-{number}.", call_me=f"Adi{number}", phone="")
        VisitFactory(patient=patient, starts_at=at(now, 8) + timedelta(minutes=5 * number))
    made = printed(listed(), clinic, thea, now)
    pages = [page.extract_text().replace("\n", " ") for page in reader_of(made.pdf).pages]
    assert len(pages) == made.pages > 1
    rows = [[number for number in range(60) if f"first-{number} " in page] for page in pages]
    ends = [[number for number in range(60) if f"Adi{number} " in f"{page} "] for page in pages]
    assert sorted(number for page in rows for number in page) == list(range(60))
    assert rows == ends
    assert all("Telephone" in page for page, found in zip(pages, rows, strict=True) if found)
    for number, page in enumerate(pages, start=1):
        assert f"Page {number} of {len(pages)}" in page
        assert "Thursday, 11 March 2027, printed" in page


@pytest.mark.parametrize(("country", "size"), [("US", (612, 792)), ("GB", (595, 842))])
def test_it_is_as_large_as_the_countrys_paper(
    clinic: Clinic, thea: User, now: datetime, listed: Callable[..., DayList], country: str, size: tuple[int, int]
) -> None:
    # ISO 216 A4: 210 by 297 mm; ANSI Letter: 8.5 by 11 in; a point is 1/72 in
    clinic.country = country
    box = reader_of(printed(listed(), clinic, thea, now).pdf).pages[0].mediabox
    assert (int(box.width), round(box.height)) == size or (round(box.width), round(box.height)) == size


def test_it_is_tagged_with_its_fonts_inside_in_every_script(
    clinic: Clinic, thea: User, now: datetime, listed: Callable[..., DayList], text_of: Callable[[bytes], str]
) -> None:
    for hour, name in enumerate(("מרים כהן", "ليلى حداد", "Zoë O'Neil", "Ж. Вересова"), start=9):
        VisitFactory(patient=PatientFactory(full_name=name), starts_at=at(now, hour))
    made = printed(listed(), clinic, thea, now)
    text = text_of(made.pdf)
    assert [name for name in ("מרים כהן", "ليلى حداد", "Zoë O'Neil", "Ж. Вересова") if name not in text] == []
    assert made.missing == ()
    fonts = fonts_of(made.pdf)
    assert fonts
    assert all(fonts.values())
    catalogue: Any = reader_of(made.pdf).trailer["/Root"]
    assert (catalogue["/Lang"], bool(catalogue["/MarkInfo"]["/Marked"])) == ("en", True)


def test_thirty_rows_take_as_many_queries_as_one(clinic: Clinic, thea: User, now: datetime) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as found:
            listed = day_list(DAY, zone=clinic.zone, now=now)
            day_list_sheet(listed, clinic=clinic, printed_by=thea, now=now)
        return len(found)

    def more(number: int) -> None:
        patient = PatientFactory()
        HelperFactory(patient=patient, gets_messages=True)
        visit = VisitFactory(patient=patient, starts_at=at(now, 8) + timedelta(minutes=10 * number))
        ApplicationFactory(patient=patient, removal_visit=visit, removal_day=DAY)
        ApplicationFactory(removal="helper", removal_day=DAY, helper=HelperFactory())

    more(0)
    one = queries()
    for number in range(1, 30):
        more(number)
    assert (one, queries()) == (5, 5)
