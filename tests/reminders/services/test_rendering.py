"""The words of every kind on every channel.

Segments: 3GPP TS 23.038 and 23.040, counted by an independent table (gsm0338) where the text is GSM-7.
"""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import gsm0338  # noqa: F401  # registers the codec gsm03.38
import pytest
from pytest_django import Settings

from clinic.models import Clinic, Helper, Patient, Visit
from reminders.models import Message
from reminders.rules.kinds import MessageKind
from reminders.rules.sms import segments
from reminders.services.links import link_address
from reminders.services.rendering import TooLong, Words, render
from reminders.services.wording import Saying
from taping.models import Application
from tests.factories import ApplicationFactory, HelperFactory, MessageFactory, PatientFactory, VisitFactory

pytestmark = pytest.mark.django_db

KINDS = [kind.value for kind in MessageKind if not kind.is_for_staff]
TAPE_KINDS = [kind for kind in KINDS if not kind.startswith("visit") and kind != "stop_confirmed"]
VISIT_KINDS = [kind for kind in KINDS if kind.startswith("visit")]
LONG_PLACES = ("thigh_front", "lower_back", "upper_back", "shoulder")
ALONE = ("take it off yourself", "please take it off today", "at home")


@pytest.fixture(autouse=True)
def public_address(settings: Settings) -> None:
    """As long as such an address gets: what the link costs is part of every text."""
    settings.PUBLIC_ADDRESS = "https://tape.harbour-lane.example.org"


def message(kind: str, now: datetime, **values: object) -> Message:
    if kind == "stop_confirmed":
        patient = PatientFactory()
        ApplicationFactory(patient=patient, **values)
        row = Message(patient=patient, kind=kind, subject=f"patient:{patient.pk}", planned_for=now)
        row.channel, row.address = "sms", patient.phone
    elif kind.startswith("visit"):
        visit = VisitFactory(starts_at=now + timedelta(days=3), ends_at=now + timedelta(days=3, minutes=30), **values)
        row = Message(patient=visit.patient, visit=visit, kind=kind, subject=f"visit:{visit.pk}", planned_for=now)
    else:
        row = MessageFactory(kind=kind, application=ApplicationFactory(**values), planned_for=now)
    return row


def said(
    row: Message,
    clinic: Clinic,
    now: datetime,
    channel: str = "sms",
    *,
    recipient: Patient | Helper | None = None,
    signs: tuple[str, ...] = (),
    joined: tuple[Message, ...] = (),
) -> Words:
    return render(Saying(row, joined, recipient or row.patient, clinic, now, signs), channel)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("channel", ["sms", "email"])
def test_the_clinic_comes_first_and_no_full_name_stands_anywhere(
    clinic: Clinic, now: datetime, kind: str, channel: str
) -> None:
    row = message(kind, now)
    words = said(row, clinic, now, channel)
    assert words.text.split(":")[0].split() == ["Harbour", "Lane", "Clinic", "(212)", "555-0100"] or (
        words.text.splitlines()[:2] == ["Harbour Lane Clinic", "(212) 555-0100"]
    )
    everything = words.text + words.html + words.subject
    assert row.patient.full_name not in everything
    assert "Quill" not in everything
    assert "1985" not in everything
    assert "{" not in everything


@pytest.mark.parametrize("kind", KINDS)
def test_a_text_message_keeps_to_its_segments(clinic: Clinic, now: datetime, kind: str) -> None:
    clinic.name = "The Harbour Lane Physiotherapy and Sports Medicine Centre of the Lower East Side"
    for region in LONG_PLACES:
        place = {} if kind.startswith("visit") else {"screen__region": region}
        row = message(kind, now, **place)
        text = said(row, clinic, now).text
        assert text == text.encode("gsm03.38").decode("gsm03.38")
        assert len(text.encode("gsm03.38")) <= 2 * 153
        assert text.startswith("The Harbour Lane Physiotherapy and")


@pytest.mark.parametrize("kind", KINDS)
def test_a_clinic_whose_name_needs_wide_letters_keeps_to_its_segments(clinic: Clinic, now: datetime, kind: str) -> None:
    """í is not in the default alphabet: two segments of 67, four for what keeps skin safe."""
    clinic.name = "Clínica del Puerto y de la Bahía de Sal"
    text = said(message(kind, now), clinic, now).text
    cost = segments(text)
    assert cost.encoding == "UCS-2"
    assert cost.count <= (4 if MessageKind(kind).is_safety else 2)
    assert "Clínica del Puerto" in text


def test_a_text_that_cannot_be_made_short_is_refused(clinic: Clinic, now: datetime) -> None:
    clinic.emergency_number = "9" * 20
    clinic.telephone = "í" * 300
    with pytest.raises(TooLong, match="too long for a text message"):
        said(message("aftercare", now), clinic, now)


@pytest.mark.parametrize("kind", TAPE_KINDS)
def test_the_link_goes_out_whole_and_is_kept_masked(clinic: Clinic, now: datetime, kind: str) -> None:
    row = message(kind, now)
    assert row.application is not None
    words = said(row, clinic, now, "email")
    link = link_address(row.application)
    assert f'href="{link}"' in words.html
    assert link in words.text.splitlines()
    assert link not in words.kept
    assert words.kept.count("[link]") == 2
    assert words.stop == link_address(row.application, "stop")


def test_aftercare_says_when_to_move_when_water_may_come_and_when_it_comes_off(clinic: Clinic, now: datetime) -> None:
    text = said(message("aftercare", now), clinic, now).text
    for part in (
        "left knee", "Easy movement from 10:20", "Sweat and water from 11:00", "Monday, 15 March", "at home", "911",
    ):  # fmt: skip
        assert part in text


@pytest.mark.parametrize(("minutes", "left"), [(19, 2), (20, 1), (59, 1), (60, 0)])
def test_times_already_past_are_left_out(clinic: Clinic, now: datetime, minutes: int, left: int) -> None:
    text = said(message("aftercare", now), clinic, now + timedelta(minutes=minutes), "email").text
    assert ("Easy movement" in text) + ("Sweat, shower" in text) == left


def test_a_wait_that_ends_after_midnight_names_the_day(clinic: Clinic, now: datetime) -> None:
    late = datetime(2027, 3, 11, 4, 50, tzinfo=UTC)  # 23:50 in New York
    text = said(message("aftercare", late, applied_at=late), clinic, late).text
    assert "Easy movement from 00:10 tomorrow" in text


def test_times_are_the_patient_s_own(clinic: Clinic, now: datetime) -> None:
    text = said(message("aftercare", now, patient__time_zone="America/Los_Angeles"), clinic, now).text
    assert "Easy movement from 07:20" in text


def test_removal_at_home_gives_every_step(clinic: Clinic, now: datetime) -> None:
    text = said(message("removal_day", now), clinic, now, "email").text
    for part in ("Sit down", "never do it in the bath", "5 to 10 minutes", "flames", "No nut oil", "never rip"):
        assert part.lower() in text.lower()


@pytest.mark.parametrize("kind", ["aftercare", "skin_check", "removal_eve", "removal_day", "removal_overdue"])
@pytest.mark.parametrize("removal", ["helper", "clinic"])
@pytest.mark.parametrize("channel", ["sms", "email"])
def test_nobody_is_told_to_take_it_off_alone_who_should_not(
    clinic: Clinic, now: datetime, kind: str, removal: str, channel: str
) -> None:
    text = said(message(kind, now, removal=removal), clinic, now, channel).text.lower()
    assert [words for words in ALONE if words in text] == []
    assert "take the tape off slowly" not in text


def test_at_the_clinic_the_hour_is_said(clinic: Clinic, now: datetime) -> None:
    starts_at = datetime(2027, 3, 15, 13, 30, tzinfo=UTC)
    visit = VisitFactory(starts_at=starts_at, ends_at=starts_at + timedelta(minutes=30), purpose="removal")
    row = message("removal_day", now, patient=visit.patient, removal_visit=visit)
    evening = datetime(2027, 3, 14, 22, tzinfo=UTC)
    assert "We take your tape (left knee) off tomorrow at 09:30." in said(row, clinic, evening).text
    Visit.objects.filter(pk=visit.pk).update(state="cancelled")
    row.application = Application.objects.select_related("removal_visit").get(removal_visit=visit)
    row.application.removal_day = evening.astimezone(ZoneInfo("America/New_York")).date()
    assert "comes off today" in said(row, clinic, evening).text


@pytest.mark.parametrize("kind", ["removal_day", "removal_overdue"])
@pytest.mark.parametrize("channel", ["sms", "email"])
def test_over_sore_skin_there_is_no_oil_and_no_pulling(clinic: Clinic, now: datetime, kind: str, channel: str) -> None:
    text = said(message(kind, now), clinic, now, channel, signs=("blister",)).text.lower()
    assert "oil or lotion" not in text
    assert "no pulling" in text or "do not pull over the sore place" in text


def test_an_emergency_comes_before_the_tape(clinic: Clinic, now: datetime) -> None:
    for channel in ("sms", "email"):
        text = said(message("skin_check", now), clinic, now, channel).text
        assert text.index("911") < text.index("tape off")


def test_two_tapes_that_differ_are_each_told(clinic: Clinic, now: datetime) -> None:
    left = message("removal_day", now)
    right = message("removal_day", now, patient=left.patient, screen__side="right", removal="clinic")
    words = said(left, clinic, now, joined=(right,)).text
    assert "left knee on Monday, 15 March, at home; right knee on Monday, 15 March, at the clinic" in words
    mail = said(left, clinic, now, "email", joined=(right,)).text
    assert "5 to 10 minutes" not in mail
    assert mail.count("/t/") == 2


def test_two_tapes_alike_are_said_in_one_breath(clinic: Clinic, now: datetime) -> None:
    left = message("aftercare", now)
    right = message("aftercare", now, patient=left.patient, screen__side="right")
    assert "Your tapes on: left and right knee." in said(left, clinic, now, joined=(right,)).text


def test_a_helper_reads_whose_tape_it_is(clinic: Clinic, now: datetime) -> None:
    row = message("removal_day", now, removal="helper")
    helper = HelperFactory(patient=row.patient, call_me="Hal")
    mail = said(row, clinic, now, "email", recipient=helper).text
    assert "Hello Hal," in mail
    assert "Ada's tape (left knee) comes off on Monday, 15 March. You take it off, as we showed you." in mail
    assert "Hal Per" not in mail


def test_without_a_name_to_call_nobody_is_greeted_by_the_full_one(clinic: Clinic, now: datetime) -> None:
    mail = said(message("aftercare", now, patient__call_me=""), clinic, now, "email").text
    assert "\nHello,\n" in mail


@pytest.mark.parametrize("kind", VISIT_KINDS)
def test_a_visit_names_weekday_date_and_hour(clinic: Clinic, now: datetime, kind: str) -> None:
    assert "Saturday, 13 March, 10:00" in said(message(kind, now), clinic, now).text


def test_a_cancelled_removal_visit_says_that_the_tape_still_has_to_come_off(clinic: Clinic, now: datetime) -> None:
    text = said(message("visit_cancelled", now, purpose="removal"), clinic, now).text
    assert "The tape still has to come off: please call us." in text


def test_the_answer_to_a_stop_says_how_to_start_again_and_when_the_tape_comes_off(
    clinic: Clinic, now: datetime
) -> None:
    assert said(message("stop_confirmed", now), clinic, now).text == (
        "Harbour Lane Clinic (212) 555-0100: No more reminders. The tape (left knee) still has to come off by "
        "Monday, 15 March. Reply START to get them again."
    )


def test_names_are_not_escaped_in_text_and_are_in_the_page(clinic: Clinic, now: datetime) -> None:
    words = said(message("aftercare", now, patient__call_me="O'Neil <b>"), clinic, now, "email")
    assert "Hello O'Neil <b>," in words.text
    assert "Hello O&#x27;Neil &lt;b&gt;," in words.html


def test_a_name_with_a_line_end_stays_on_one_line_of_the_subject(clinic: Clinic, now: datetime) -> None:
    row = message("removal_day", now, patient__call_me="Ana\r\nBcc: z@example.net")
    helper = HelperFactory(patient=row.patient)
    assert said(row, clinic, now, "email", recipient=helper).subject == (
        "Ana Bcc: z@example.net's tape comes off on Monday, 15 March"
    )
