"""The plan and the record: whole, in order, on as many pages as it takes."""

import re
from collections.abc import Callable
from datetime import datetime, timedelta
from html import unescape
from typing import Any

from clinic.models import Clinic
from reminders.sheets.printing import print_html
from reminders.sheets.record import plan_sheet, record_sheet
from taping.models import Application, Correction, PainScore, SkinReport, SkinScreen, StripPlan
from taping.rules.skin_questions import questions_for
from taping.selectors import plan_get
from tests.factories import MessageFactory, StripFactory, StripPlanFactory
from tests.reminders.sheets.conftest import reader_of


def plan_of(row: StripPlan) -> StripPlan:
    found = plan_get(row.pk)
    assert found is not None
    return found


def test_the_plan_has_its_numbers_and_a_drawing_of_each_strip(clinic: Clinic, text_of: Callable[[bytes], str]) -> None:
    plan = StripPlanFactory(posture="knee bent", reason="After a long walk")
    StripFactory(plan=plan, position=1, place="patellar_tendon")
    StripFactory(plan=plan, position=2)
    html = plan_sheet(plan_of(plan), clinic=clinic)
    text = text_of(print_html(html).pdf)
    for words in (
        "Strip plan: left knee",
        "28.6 cm",
        "30.0 cm",
        "knee bent",
        "After a long walk",
        "without trial proof",
    ):
        assert words in text
    assert "rough numbers" in text
    assert html.count('class="drawn"') == 2


def test_a_plan_without_a_strip_says_so(clinic: Clinic) -> None:
    assert "No strip is planned yet." in plan_sheet(plan_of(StripPlanFactory()), clinic=clinic)


def test_a_strip_that_can_no_longer_be_worked_out_keeps_its_stored_numbers(clinic: Clinic) -> None:
    plan = StripPlanFactory()
    StripFactory(plan=plan, position=1, span_mm=120.0, paper_mm=90.0, share=0.625)
    html = plan_sheet(plan_of(plan), clinic=clinic)
    assert "about 62 %" in html
    assert 'class="drawn"' not in html


def test_the_record_holds_everything_about_the_tape(
    tape: Application, clinic: Clinic, now: datetime, text_of: Callable[[bytes], str]
) -> None:
    StripFactory(plan=tape.plan, position=1)
    MessageFactory(application=tape, state="sent", settled_at=now, channel="sms")
    said: dict[str, Any] = {"reported_at": now, "reported_by": "patient", "signs": ["itching"], "urgency": "today"}
    SkinReport.objects.create(patient=tape.patient, application=tape, words="it itches at night", **said)
    tape.ended_at, tape.ended_how, tape.ending_note = now + timedelta(days=5), "off", "skin calm"
    text = text_of(print_html(record_sheet(tape, plan_of(tape.plan), clinic=clinic)).pdf)
    for words in (
        "Record of tape: left knee",
        "Ada Quillfeather, born 3 April 1985",
        "no exercise for 20 minutes, no sweat or water for 60",
        "14 Mar 2027 to Mon 15 Mar 2027",
        "“it itches at night”",
        "skin calm",
        "day 5 of the wear window",
        "Page 1 of",
    ):
        assert words in text


def test_pain_corrections_and_how_it_came_off_stand_on_the_record(
    tape: Application, clinic: Clinic, now: datetime, text_of: Callable[[bytes], str]
) -> None:
    said: dict[str, Any] = {"plan": tape.plan, "said_at": now, "asked_by": tape.therapist}
    PainScore.objects.create(moment="before", score=7, **said)
    PainScore.objects.create(moment="before", score=6, why="misheard", **said)
    Correction.objects.create(
        application=tape, at=now, by=tape.therapist, what="side", was="right", became="left", why="wrong side ticked"
    )
    tape.ended_at, tape.ended_how, tape.ending_hair, tape.ending_residue = now, "off", "some", "much"
    text = text_of(print_html(record_sheet(tape, plan_of(tape.plan), clinic=clinic)).pdf)
    for words in ("before taping 7", "6; corrects the one before: misheard", "side right left", "wrong side ticked"):
        assert words in text
    assert "some hair came off; much glue stayed; skin 30 minutes after: not recorded" in text


def test_a_hundred_and_twenty_rows_keep_their_head_on_each_page_and_none_is_cut(
    tape: Application, clinic: Clinic, now: datetime
) -> None:
    for number in range(120):
        MessageFactory(
            application=tape, ordinal=number + 1, reasons=[f"first part {number} begin-{number} end-{number}."]
        )
    printed = print_html(record_sheet(tape, plan_of(tape.plan), clinic=clinic))
    pages = [page.extract_text() for page in reader_of(printed.pdf).pages]
    rows = [[number for number in range(120) if f"begin-{number} " in page.replace("\n", " ")] for page in pages]
    ends = [[number for number in range(120) if f"end-{number}." in page.replace("\n", " ")] for page in pages]
    assert sorted(number for page in rows for number in page) == list(range(120))
    assert rows == ends
    assert all("Planned for" in page for page, found in zip(pages, rows, strict=True) if found)
    assert [f"Page {number + 1} of {len(pages)}" in page for number, page in enumerate(pages)] == [True] * len(pages)


def test_a_note_of_six_thousand_characters_is_whole(
    tape: Application, clinic: Clinic, text_of: Callable[[bytes], str]
) -> None:
    tape.ending_note = " ".join(f"word{number:04d}" for number in range(667))
    assert len(tape.ending_note) > 6_000
    printed = print_html(record_sheet(tape, plan_of(tape.plan), clinic=clinic))
    text = text_of(printed.pdf)
    assert printed.pages > 1
    assert [number for number in range(667) if f"word{number:04d}" not in text] == []


def test_a_script_in_a_note_is_only_letters(clinic: Clinic) -> None:
    plan = StripPlanFactory(reason="<script>alert(1)</script>")
    html = plan_sheet(plan_of(plan), clinic=clinic)
    assert "<script>" not in html
    assert "&lt;script&gt;alert(1)" in html


def test_the_record_lists_every_question_with_its_answer(
    tape: Application, clinic: Clinic, text_of: Callable[[bytes], str]
) -> None:
    """Also those answered no, and those nobody asked: a record that stands up later says what was asked."""
    screen = tape.plan.screen
    asked = questions_for(tape.plan.goal)
    screen.answers = {question.key: "no" for question in asked} | {asked[-1].key: "not_known"}
    del screen.answers[asked[0].key]
    html = record_sheet(tape, plan_with(tape, screen), clinic=clinic)
    rows = re.findall(r"<tr><td>([^<]*)</td><td>([^<]*)</td></tr>", html)
    said = {unescape(question): answer for question, answer in rows}
    assert {question.text for question in asked} <= set(said)
    assert (said[asked[0].text], said[asked[1].text], said[asked[-1].text]) == ("not answered", "no", "not known")


def plan_with(tape: Application, screen: SkinScreen) -> StripPlan:
    screen.save()
    return plan_of(tape.plan)
