"""The patient page, for those who tape and for the desk."""

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
import time_machine
from django.test import Client

from clinic.models import Clinic, Event, User
from taping.models import Application, PainScore, SkinReport, StripEvent
from tests.factories import (
    ApplicationFactory,
    CallItemFactory,
    HelperFactory,
    MessageFactory,
    PatientFactory,
    ScreenFactory,
    StripFactory,
    StripPlanFactory,
    VisitFactory,
)
from tests.factories.clinic import NOW

SignedIn = Callable[..., tuple[Client, User]]
Text = Callable[[str], str]
REASON = {"text": "Is the skin thin?", "advice": "Little tension.", "question": "fragile_skin", "finding": "caution"}


@pytest.fixture
def address(tape: Application) -> str:
    return f"/patients/{tape.patient.pk}/"


def worn(tape: Application, *, days_ago: int, days: int = 4, **changes: object) -> Application:
    """An ended tape of the same patient, with one strip."""
    at = NOW - timedelta(days=days_ago)
    plan = StripPlanFactory(screen=ScreenFactory(patient=tape.patient, made_at=at, region="elbow", side="right"))
    StripFactory(plan=plan, position=1)
    ended: Application = ApplicationFactory(
        patient=tape.patient,
        plan=plan,
        applied_at=at,
        ended_at=at + timedelta(days=days),
        ended_how="off",
        ended_by="patient",
        **changes,
    )
    return ended


def test_every_reading_of_a_record_is_an_event(signed_in: SignedIn, tape: Application, address: str) -> None:
    client, user = signed_in()
    client.get(address)
    event = Event.objects.get(verb="patient.read")
    assert (event.actor, event.patient, event.subject_id, event.fields) == (
        user,
        tape.patient,
        str(tape.patient.pk),
        [],
    )


def test_the_cautions_of_each_place_stand_first(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    signed_in()
    ScreenFactory(patient=tape.patient, region="elbow", made_at=NOW - timedelta(days=9), reasons=[REASON])
    page = text_of(address)
    assert "Is the skin thin? Little tension." in page
    assert page.index('id="cautions"') < page.index('id="on-skin"')


def test_only_the_last_screen_of_a_place_speaks(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    signed_in()
    ScreenFactory(patient=tape.patient, made_at=NOW - timedelta(days=9), reasons=[REASON])
    assert "Is the skin thin?" not in text_of(address)


def test_an_open_skin_report_is_a_caution(signed_in: SignedIn, tape: Application, address: str, text_of: Text) -> None:
    signed_in()
    report = SkinReport.objects.create(patient=tape.patient, application=tape, reported_at=NOW, signs=["itching"])
    page = text_of(address)
    assert "Skin report open" in page
    assert f"/reports/{report.pk}/" in page
    assert "reaction</span>" in page


def test_what_is_on_the_skin_says_until_when_and_by_whom(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    signed_in()
    page = text_of(address)
    assert "20 minutes left" in page
    assert "Mon 15 Mar; last day Mon 15 Mar; earlier is always allowed" in page
    assert "the patient, at home" in page


def test_the_timeline_tells_cut_tension_days_worn_and_ending(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    """The strip is example 2 of the cutting formula: span 300 mm, anchors 50 mm, stretch 25 %: 286 mm of paper.

    Its zone is 200 mm, of 160 mm relaxed; 195 and 205 mm make stretches of 21.9 and 28.1 %, of the 40 % that this tape
    can give 55 and 70 %.
    """
    signed_in()
    worn(tape, days_ago=30, ending_note="slight itch for a day")
    page = text_of(address)
    assert "28.6 cm</strong> for a span of 30.0 cm, tension 55 to 70 % of what this tape can give" in page
    assert "Worn 4 days; taken off" in page
    assert "slight itch for a day" in page


def test_days_worn_are_calendar_days_over_the_clock_change(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    """New York puts its clocks back on 1 November 2026; from 30 October to 3 November are four days."""
    signed_in()
    worn(tape, days_ago=131)
    assert "Worn 4 days" in text_of(address)


def test_again_as_last_time_offers_place_and_goal_and_copies_no_screen(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    signed_in()
    worn(tape, days_ago=30)
    page = text_of(address)
    assert f'href="/patients/{tape.patient.pk}/screen/?region=elbow&amp;side=right&amp;goal=ease_pain"' in page
    assert "The skin is screened anew each time" in page


@pytest.mark.parametrize(
    ("role", "taps"), [("therapist", True), ("student", True), ("desk", False), ("manager", False)]
)
def test_only_those_who_tape_see_cautions_cuts_notes_and_the_button(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text, role: str, *, taps: bool
) -> None:
    signed_in(role)
    worn(tape, days_ago=30, ending_note="slight itch for a day")
    ScreenFactory(patient=tape.patient, region="elbow", made_at=NOW - timedelta(days=9), reasons=[REASON])
    page = text_of(address)
    hidden = ("Tape this patient", "Is the skin thin?", "28.6 cm", "slight itch for a day", "Again as last time")
    assert [words in page for words in hidden] == [taps] * len(hidden)
    assert "Worn 4 days" in page


def test_who_it_is_stands_first_with_what_to_call_them(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    signed_in("desk")
    page = text_of(address)
    assert "<h1><bdi>Ada Quillfeather</bdi>, 41 years</h1><p>Call them <strong><bdi>Ada</bdi></strong></p>" in page


def test_a_name_nobody_gave_is_not_made_up(signed_in: SignedIn, clinic: Clinic, text_of: Text) -> None:
    signed_in()
    assert "Greet without a name" in text_of(f"/patients/{PatientFactory(call_me='').pk}/")


def reported(tape: Application, days_ago: int, **fields: object) -> SkinReport:
    made: SkinReport = SkinReport.objects.create(
        patient=tape.patient, application=tape, reported_at=NOW - timedelta(days=days_ago), signs=["rash"], **fields
    )
    return made


def test_an_earlier_reaction_is_a_caution_with_grade_day_and_who_found_it(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    _, user = signed_in()
    before = worn(tape, days_ago=60)
    graded = {"kind": "injury", "grade": "tension_injury", "graded_by": user, "closed_at": NOW - timedelta(days=50)}
    report = reported(before, 55, told_whom=["doctor", "parent"], **graded)
    reported(before, 40, kind="no_change", closed_at=NOW - timedelta(days=39))
    page = text_of(address)
    cautions = page[page.index('id="cautions"') : page.index('id="on-skin"')]
    assert "<strong>Earlier reaction, right elbow</strong>: Blister or wound where the tape pulled." in cautions
    assert (
        f'<a href="/reports/{report.pk}/">Skin report of Thu 14 Jan</a>, found by <bdi>{user.full_name}</bdi>' in page
    )
    assert cautions.count("Earlier reaction") == 1
    assert "told: the doctor, a parent or guardian" in page


def test_a_finding_of_an_open_report_does_not_read_as_over(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    signed_in()
    reported(tape, 0, kind="injury", grade="folliculitis", follow_up_on=NOW.date() + timedelta(days=2))
    page = text_of(address)
    assert "Found so far: Inflamed roots of hairs." in page
    assert "Earlier reaction" not in page
    assert "Look at the skin again Fri 12 Mar:" in page


def test_an_allergy_speaks_on_beside_a_later_no(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    signed_in()
    allergy = {"question": "adhesive_allergy", "finding": "stop", "text": "Allergic to the glue?", "advice": "No tape."}
    ScreenFactory(
        patient=tape.patient,
        region="elbow",
        made_at=NOW - timedelta(days=9),
        answers={"adhesive_allergy": "yes"},
        reasons=[allergy],
    )
    later = ScreenFactory(patient=tape.patient, made_at=NOW - timedelta(days=2), answers={"adhesive_allergy": "no"})
    assert later.pk
    page = text_of(address)
    assert "Allergic to the glue? No tape." in page
    assert "Skin screen of Mon 1 Mar; answered no on Mon 8 Mar: ask again" in page


def test_what_comes_next_names_removal_visit_and_message_with_its_reasons(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    signed_in("desk")
    VisitFactory(patient=tape.patient, purpose="follow_up", starts_at=NOW + timedelta(days=2))
    MessageFactory(application=tape, planned_for=NOW + timedelta(days=5))
    MessageFactory(
        application=tape,
        kind="skin_check",
        planned_for=NOW + timedelta(days=2),
        reasons=["first taping", "moved from 06:40 to 08:00: quiet hours"],
    )
    MessageFactory(application=tape, kind="aftercare", state="sent", planned_for=NOW, settled_at=NOW)
    page = text_of(address)
    coming = page[page.index('id="next"') : page.index('id="patient-head"')]
    assert "Left knee: comes off Mon 15 Mar, by whom: the patient, at home" in coming
    assert "Fri 12 Mar 10:00</a>, follow-up" in coming
    assert "Next message Fri 12 Mar 10:00: look at the skin, left knee." in coming
    assert "first taping; moved from 06:40 to 08:00: quiet hours" in coming
    assert "comes off today" not in coming


def test_nothing_to_come_says_what_next(signed_in: SignedIn, clinic: Clinic, text_of: Text) -> None:
    signed_in()
    assert "Nothing is planned." in text_of(f"/patients/{PatientFactory().pk}/")


@pytest.mark.parametrize("role", ["therapist", "desk"])
def test_older_tapings_are_folded_after_the_newest_five(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text, role: str
) -> None:
    signed_in(role)
    tapes = [worn(tape, days_ago=30 + 10 * number) for number in range(7)]
    page = text_of(address)
    fold = page.index("<summary>2 older tapings</summary>")
    places = [page.index(f'href="/applications/{one.pk}/">right elbow</a>') for one in tapes]
    assert [place < fold for place in places] == [True] * 5 + [False] * 2
    assert places == sorted(places)


def test_five_tapings_are_not_folded(signed_in: SignedIn, tape: Application, address: str, text_of: Text) -> None:
    signed_in()
    for number in range(5):
        worn(tape, days_ago=30 + 10 * number)
    assert "older taping" not in text_of(address)


def test_again_stands_at_the_last_taping_of_each_place(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    signed_in()
    worn(tape, days_ago=20)
    worn(tape, days_ago=40)
    plan = StripPlanFactory(screen=ScreenFactory(patient=tape.patient, region="calf", made_at=NOW))
    at = NOW - timedelta(days=60)
    ApplicationFactory(patient=tape.patient, plan=plan, applied_at=at, ended_at=at, ended_how="off")
    page = text_of(address)
    links = re.findall(r'screen/\?region=(\w+)&amp;side=(\w+)&amp;goal=\w+" aria-label="Again as last time: ', page)
    assert links == [("elbow", "right"), ("calf", "left")]


def test_tape_that_came_off_today_asks_for_the_look_at_the_skin(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text, frozen: time_machine.Traveller
) -> None:
    ended = worn(tape, days_ago=4)  # off at the tests' moment
    worn(tape, days_ago=30)
    frozen.move_to(NOW + timedelta(minutes=20))
    signed_in()
    page = text_of(address)
    assert re.findall(r'action="/applications/(\d+)/skin-after/"', page) == [str(ended.pk)]
    assert "Look at the skin again today 10:30." in page
    assert f'<input type="hidden" name="next" value="{address}">' in page


def test_pain_is_told_and_asked_where_the_next_visit_finds_it(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    signed_in()
    told, asked = worn(tape, days_ago=30), worn(tape, days_ago=20)
    for moment, score in (("before", 5), ("before", 6), ("after", None), ("next", 2)):
        PainScore.objects.create(plan=told.plan, moment=moment, score=score, said_at=NOW)
    page = text_of(address)
    assert "Pain before 6, right after not asked, at the next visit or the end 2" in page
    rows = re.findall(r'<section class="pain" id="pain-(\w+)-(\d+)"', page)
    assert rows == [
        ("before", str(tape.plan_id)),
        ("after", str(tape.plan_id)),
        ("next", str(asked.plan_id)),
    ]


def test_how_tape_came_off_is_told(signed_in: SignedIn, tape: Application, address: str, text_of: Text) -> None:
    signed_in()
    ended = worn(tape, days_ago=30, ending_went="hurt", ending_hair="some", skin_after="changed", ended_roughly=True)
    StripEvent.objects.create(application=ended, what="edge_trimmed", at=ended.applied_at, saved_at=ended.applied_at)
    page = text_of(address)
    assert re.findall(r"<li>(How it went[^<]+|Some hair[^<]+|Skin 30[^<]+|Something happened[^<]+)", page) == [
        "Something happened to a strip: ",
        "How it went: it hurt",
        "Some hair came off",
        "Skin 30 minutes after: a change is seen",
    ]
    assert "taken off, about " in page


SECRETS = {
    "grade": "Blister or wound where the tape pulled",
    "note": "secret note",
    "words": "secret words",
    "told": "the doctor",
    "advised": "secret advice",
    "ending": "taken off for the skin",
    "went": "it hurt",
    "skin": "a change is seen",
    "strip": "Strip 1",
    "tension": "of what this tape can give",
    "pain": "before 7",
    "caution": "Is the skin thin?",
    "happening": "Something happened to a strip",
}


@pytest.mark.parametrize(
    ("role", "sees"), [("therapist", True), ("student", True), ("desk", False), ("manager", False)]
)
def test_the_desk_reads_region_times_and_state_and_nothing_else(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text, role: str, *, sees: bool
) -> None:
    signed_in(role)
    ended = worn(tape, days_ago=30, ending_note="secret note", ending_went="hurt", skin_after="changed")
    Application.objects.filter(pk=ended.pk).update(ended_how="skin")
    finding = {"kind": "injury", "grade": "tension_injury", "told_whom": ["doctor"], "advised": "secret advice"}
    reported(ended, 29, words="secret words", closed_at=NOW, **finding)
    PainScore.objects.create(plan=ended.plan, moment="before", score=7, said_at=NOW)
    StripEvent.objects.create(application=ended, what="strip_off", at=NOW, saved_at=NOW)
    ScreenFactory(patient=tape.patient, region="elbow", made_at=NOW - timedelta(days=9), reasons=[REASON])
    page = text_of(address)
    shown = {name for name, words in SECRETS.items() if words in page}
    assert shown == ({*SECRETS} - {"words", "advised"} if sees else set())
    record = text_of(f"/applications/{ended.pk}/")
    assert [words in record for words in ("secret note", "taken off for the skin", "it hurt")] == [sees] * 3
    assert f'href="/applications/{ended.pk}/">right elbow</a>' in page
    assert "Worn 4 days" in page


def test_visits_to_come_calls_and_messages_are_there(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    signed_in("desk")
    visit = VisitFactory(patient=tape.patient)
    CallItemFactory(application=tape)
    MessageFactory(application=tape, planned_for=NOW + timedelta(days=5))
    page = text_of(address)
    assert f"/visits/{visit.pk}/" in page
    assert "tape should be off" in page
    assert "day 5 of the wear window" in page


def test_nobodys_record_shows_another_patients_tape(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    signed_in()
    other: Application = ApplicationFactory()
    MessageFactory(application=other)
    page = text_of(address)
    assert f"/applications/{other.pk}/" not in page
    assert "No messages yet." in page


def test_a_new_patients_page_says_what_next(signed_in: SignedIn, clinic: Clinic, text_of: Text) -> None:
    signed_in()
    page = text_of(f"/patients/{PatientFactory(born=None).pk}/")
    assert "No skin screen yet" in page
    assert "No tape is on the skin." in page
    assert "No taping has ended yet." in page


@pytest.mark.parametrize("role", ["therapist", "desk"])
def test_one_tape_and_thirty_take_the_same_few_queries(
    signed_in: SignedIn, tape: Application, address: str, queries_of: Callable[[str], int], role: str
) -> None:
    def fill(first: int, last: int) -> None:
        for number in range(first, last):
            ended = worn(tape, days_ago=30 + 10 * number)
            SkinReport.objects.create(patient=tape.patient, application=ended, reported_at=NOW, signs=[])
            MessageFactory(application=ended)
            CallItemFactory(application=ended)
            HelperFactory(patient=tape.patient)
            VisitFactory(patient=tape.patient)
            PainScore.objects.create(plan=ended.plan, moment="before", score=3, said_at=NOW)
            StripEvent.objects.create(application=ended, what="edge_trimmed", at=NOW, saved_at=NOW)
            ScreenFactory(patient=tape.patient, region=f"r{number}", reasons=[REASON])

    signed_in(role)
    fill(0, 1)
    few = queries_of(address)
    fill(1, 30)
    assert queries_of(address) == few
    assert few <= 15


def test_tape_on_the_skin_is_shown_however_long_the_history(
    signed_in: SignedIn, tape: Application, address: str, text_of: Text
) -> None:
    signed_in()
    for number in range(41):
        worn(tape, days_ago=30 + 10 * number)
    page = text_of(address)
    assert f'id="tape-{tape.pk}"' in page
    assert "Older tapings are not shown here." in page
