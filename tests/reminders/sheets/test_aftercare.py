"""The sheet that goes home: one page that says when, how and by whom, and what to do first in an emergency."""

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest

from clinic.models import Clinic
from reminders.rules.paper import paper_for
from reminders.services.links import link_address, link_find, link_token, links_keep
from reminders.sheets.aftercare import TapeIsOff, aftercare_sheet
from reminders.sheets.drawn import wheres_of
from reminders.sheets.printing import Printed, print_html
from taping.models import Application, SkinReport
from taping.rules.places import PLACES, REGIONS
from tests.factories import ApplicationFactory, HelperFactory, PatientFactory, ScreenFactory, StripFactory, VisitFactory
from tests.reminders.sheets.conftest import reader_of

EVERY = [(region.key, side.value) for region in REGIONS.values() for side in region.sides]
LONGEST = "Maximiliana-Wilhelmina von der Brückenstraße und zu den Sieben Bergen am Rhein"


def sheet(tape: Application, clinic: Clinic, now: datetime) -> Printed:
    return print_html(aftercare_sheet(tape, clinic=clinic, now=now), paper=paper_for(clinic.country), one_page=True)


def test_it_says_what_is_to_be_said(
    tape: Application, clinic: Clinic, now: datetime, text_of: Callable[[bytes], str]
) -> None:
    text = text_of(sheet(tape, clinic, now).pdf)
    for words in (
        "Harbour Lane Clinic Call us: (212) 555-0100",
        "For Ada: left knee",
        "Easy movement from 10:20 today, only as your therapist told you",
        "It comes off on Monday, 15 March. You take it off at home. Earlier is always allowed.",
        "Start at the end nearer your thigh.",
        "Go down towards the shin: fold the tape back on itself",
        "Never do it in the bath or shower",
        "away from flames. No nut oil, no solvent.",
        "Stroke the skin beside the tape",
        "redder, darker or purple compared with the skin around it, warmer, or sore: take the tape off, and call us.",
        "Blister, raw or bleeding skin: no oil and no pulling.",
        "Emergency first, tape second",
        "call 911 now. If you have an adrenaline pen, use it.",
        "Below the tape cold, blue, pale or numb: the tape comes off now",
        "Outside opening hours call (212) 555-0101.",
        "does not replace your therapist or a doctor",
        "1/1",
    ):
        assert words in text
    assert "11:00" in text


def test_no_surname_birth_date_or_number_of_the_patient(
    tape: Application, clinic: Clinic, now: datetime, text_of: Callable[[bytes], str]
) -> None:
    printed = sheet(tape, clinic, now)
    text = text_of(printed.pdf)
    for secret in ("Quillfeather", "1985", "3 April", "5550123", tape.patient.email):
        assert secret not in text


def test_the_code_opens_the_patients_page_and_the_file_says_no_token_anywhere_else(
    tape: Application, clinic: Clinic, now: datetime, codes_of: Callable[[bytes], list[str]]
) -> None:
    printed = sheet(tape, clinic, now)
    assert codes_of(printed.pdf) == [link_address(tape)]
    token = link_token(tape)
    links_keep(application=tape, zone=clinic.zone)
    assert link_find(token=token, purpose="tape", now=now) is not None
    reader: Any = reader_of(printed.pdf)
    assert reader.metadata["/Title"] == f"Your tape, sheet {tape.pk}"
    assert token not in str(reader.metadata)
    assert token.encode() not in reader.trailer["/Root"]["/Metadata"].get_object().get_data()
    for page in reader.pages:
        assert "Emergency first" in page.extract_text()
        assert token not in "".join(page.extract_text().split())
        assert page.get("/Annots", []) == []


def test_nothing_a_patient_reads_on_paper_is_smaller_than_twelve_points(
    tape: Application, clinic: Clinic, now: datetime
) -> None:
    """Sizes as a reader of the file finds them. The foot is set from a white text of 1 pt that nobody sees."""
    StripFactory(plan=tape.plan, position=1, place="patellar_tendon")
    StripFactory(plan=tape.plan, position=2, place="")
    sizes: dict[float, str] = {}

    def see(text: str, ours: list[float], theirs: list[float], font: object, size: float) -> None:
        if text.strip():
            height = size * abs(theirs[3] * ours[3] + theirs[2] * ours[1])
            sizes[round(height, 1)] = sizes.get(round(height, 1), "") + text

    reader: Any = reader_of(sheet(tape, clinic, now).pdf)
    for page in reader.pages:
        page.extract_text(visitor_text=see)
    assert "".join(sizes.pop(1.0).split()) == f"Sheet{tape.pk},Wednesday,10March"
    assert min(sizes) == 12
    assert "Emergency first" in "".join(sizes.values())


@pytest.mark.parametrize(("region", "side", "country"), [*((*place, "US") for place in EVERY), ("chest", "left", "GB")])
def test_one_page_for_every_region_with_the_longest_names(
    clinic: Clinic, now: datetime, region: str, side: str, country: str
) -> None:
    """Letter, the shorter paper, holds the most on the least."""
    clinic.country = country
    clinic.name = "The Harbour Lane and Old Lighthouse Quarter Clinic for Movement"
    clinic.out_of_hours_advice = "When we are closed call the nurse on call, (212) 555-0101; she calls back in an hour."
    patient = PatientFactory(call_me=LONGEST)
    helper = HelperFactory(patient=patient, call_me=LONGEST)
    tape = ApplicationFactory(
        patient=patient, plan__screen=ScreenFactory(patient=patient, region=region, side=side), helper=helper,
        removal="helper",
    )  # fmt: skip
    StripFactory(plan=tape.plan)
    printed = sheet(tape, clinic, now)
    assert printed.pages == 1


@pytest.mark.parametrize(("minutes", "left"), [(0, 2), (20, 1), (60, 0)])
def test_times_that_are_past_are_left_out(
    tape: Application, clinic: Clinic, now: datetime, minutes: int, left: int
) -> None:
    html = aftercare_sheet(tape, clinic=clinic, now=now + timedelta(minutes=minutes))
    assert html.count('<p class="time">') == left


def test_on_the_removal_day_the_first_words_are_the_thing_to_do(
    tape: Application, clinic: Clinic, now: datetime
) -> None:
    html = aftercare_sheet(tape, clinic=clinic, now=now + timedelta(days=5))
    assert "<h1>Take the tape off today.</h1>" in html


def test_where_the_clinic_takes_it_off_nothing_shows_how_to_do_it_alone(
    tape: Application, clinic: Clinic, now: datetime
) -> None:
    tape.removal = "clinic"
    html = aftercare_sheet(tape, clinic=clinic, now=now)
    assert "Please do not take it off yourself." in html
    assert "call us: the tape should come off." in html
    assert 'class="pictures"' not in html
    assert "Rub oil" not in html


def test_a_removal_visit_counts_as_the_clinic(tape: Application, clinic: Clinic, now: datetime) -> None:
    tape.removal_visit = VisitFactory(patient=tape.patient, starts_at=now + timedelta(days=5))
    html = aftercare_sheet(tape, clinic=clinic, now=now)
    assert "We take it off at" in html
    assert 'class="pictures"' not in html


def test_for_a_helper_the_steps_are_the_helpers(tape: Application, clinic: Clinic, now: datetime) -> None:
    tape.removal, tape.helper = "helper", HelperFactory(patient=tape.patient, call_me="Flora")
    html = aftercare_sheet(tape, clinic=clinic, now=now)
    assert "For your helper: how it comes off" in html
    assert "Flora takes it off. Please do not take it off alone." in html


def test_over_a_reported_blister_no_oil_no_pulling_and_no_picture(
    tape: Application, clinic: Clinic, now: datetime
) -> None:
    said = {"reported_at": now, "reported_by": "patient", "signs": ["blister"], "urgency": "today"}
    SkinReport.objects.create(patient=tape.patient, application=tape, **said)
    html = aftercare_sheet(tape, clinic=clinic, now=now)
    assert "Do not pull over the sore place, and put nothing greasy on it." in html
    assert "Rub oil" not in html
    assert 'class="pictures"' not in html


def test_the_strip_on_top_is_drawn_first_and_the_others_follow(
    clinic: Clinic, now: datetime, tape: Application
) -> None:
    StripFactory(plan=tape.plan, position=1, place="patellar_tendon")
    StripFactory(plan=tape.plan, position=2, place="")
    assert wheres_of(tape) == [REGIONS["knee"], PLACES["patellar_tendon"]]
    html = aftercare_sheet(tape, clinic=clinic, now=now)
    assert "Where strips cross, begin with the strip on top." in html
    assert "The strip beneath: start at the end nearer your kneecap and go down towards the shin." in html


def test_strips_that_lie_alike_are_drawn_once(tape: Application, clinic: Clinic, now: datetime) -> None:
    StripFactory(plan=tape.plan, position=1, place="patellar_tendon")
    StripFactory(plan=tape.plan, position=2, place="patellar_tendon")
    assert wheres_of(tape) == [PLACES["patellar_tendon"]]
    assert "begin with the strip on top" not in aftercare_sheet(tape, clinic=clinic, now=now)


def test_a_region_that_the_data_no_longer_know_has_words_and_no_picture(
    tape: Application, clinic: Clinic, now: datetime
) -> None:
    tape.region = "wing"
    html = aftercare_sheet(tape, clinic=clinic, now=now)
    assert "left wing" in html
    assert 'class="pictures"' not in html


def test_a_script_in_a_name_is_only_letters(
    tape: Application, clinic: Clinic, now: datetime, text_of: Callable[[bytes], str]
) -> None:
    tape.patient.call_me = "<script>alert(1)</script>"
    assert "For <script>alert(1)</script>: left knee" in text_of(sheet(tape, clinic, now).pdf)


def test_nobody_is_greeted_by_their_full_name(tape: Application, clinic: Clinic, now: datetime) -> None:
    tape.patient.call_me = ""
    html = aftercare_sheet(tape, clinic=clinic, now=now)
    assert "<p>left knee</p>" in html
    assert "Quillfeather" not in html


def test_a_tape_that_is_off_has_no_sheet(tape: Application, clinic: Clinic, now: datetime) -> None:
    tape.ended_at = now
    with pytest.raises(TapeIsOff):
        aftercare_sheet(tape, clinic=clinic, now=now)


def test_on_the_day_the_clinics_own_words_head_the_sheet_as_they_do_the_page(
    tape: Application, clinic: Clinic, now: datetime
) -> None:
    clinic.texts = {"en": {"removal_day.page.home#1": "{Off_when} it comes off, gently."}}
    html = aftercare_sheet(tape, clinic=clinic, now=now + timedelta(days=5))
    assert "<h1>Today it comes off, gently.</h1>" in html
