"""Every kind in every language: what it costs at its longest, which way it runs, and what is never lost.

Segments: 3GPP TS 23.038 and 23.040; the alphabet is checked by an independent table (gsm0338).
"""

from datetime import datetime

import gsm0338  # noqa: F401  # registers the codec gsm03.38
import pytest
from pytest_django import Settings

from clinic.models import Clinic, Helper, Patient
from clinic.rules.tongue import LANGUAGES, tongue_of
from reminders.models import Message
from reminders.rules.kinds import MessageKind
from reminders.rules.sms import segments
from reminders.services.links import link_address
from tests.factories import HelperFactory, VisitFactory
from tests.reminders.services.test_rendering import KINDS, LONG_PLACES, message, said

pytestmark = pytest.mark.django_db

IN_ALPHABET = ["en", "es", "fr", "de"]
SATURDAY = datetime.fromisoformat("2027-03-08T15:00:00+00:00")  # a Monday: the tape comes off on a Saturday
AUGUST = datetime.fromisoformat("2027-08-10T15:00:00+00:00")


@pytest.fixture(autouse=True)
def clinic(clinic: Clinic, settings: Settings) -> Clinic:
    """Names and addresses as long as they get; every language approved."""
    settings.PUBLIC_ADDRESS = "https://tape.harbour-lane.example.org"
    clinic.name = "The Harbour Lane Physiotherapy and Sports Medicine Centre of the Lower East Side"
    clinic.languages = {key: {"name": "Nur Halloran", "on": "2027-03-01"} for key in LANGUAGES}
    clinic.save()
    return clinic


def spoken(kind: str, at: datetime, language: str, **values: object) -> Message:
    tape = {} if kind.startswith("visit") else {"applied_at": at, "saved_at": at}
    row = message(kind, at, **tape, **values)
    row.patient.language = language
    return row


def every(kind: str, at: datetime, language: str) -> list[tuple[Message, Patient | Helper]]:
    """The kind about the longest places, with each way of coming off, to the patient and to a helper."""
    if kind.startswith("visit"):
        row = spoken(kind, at, language, purpose="removal")
        return [(row, row.patient), (row, _helper(row, language))]
    found: list[tuple[Message, Patient | Helper]] = []
    for region in LONG_PLACES:
        for removal in ("home", "helper", "clinic"):
            row = spoken(kind, at, language, screen__region=region, removal=removal)
            found += [(row, row.patient), (row, _helper(row, language))]
    return found


def _helper(row: Message, language: str) -> Helper:
    helper: Helper = HelperFactory.build(patient=row.patient, call_me="Halvard", language=language)
    return helper


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("language", IN_ALPHABET)
@pytest.mark.parametrize("at", [SATURDAY, AUGUST], ids=["Saturday", "August"])
def test_a_text_in_a_latin_language_stays_in_two_segments_of_the_plain_alphabet(
    clinic: Clinic, kind: str, language: str, at: datetime
) -> None:
    for row, recipient in every(kind, at, language):
        text = said(row, clinic, at, recipient=recipient).text
        assert text == text.encode("gsm03.38").decode("gsm03.38")
        assert len(text.encode("gsm03.38")) <= 2 * 153


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("sender", ["", "TAPECLINIC"])
def test_an_arabic_text_stays_in_its_segments(
    clinic: Clinic, now: datetime, settings: Settings, kind: str, sender: str
) -> None:
    """Two of 67 letters; four for what keeps skin safe."""
    settings.SMS_SENDER = sender
    for row, recipient in every(kind, now, "ar"):
        cost = segments(said(row, clinic, now, recipient=recipient).text)
        assert cost.encoding == "UCS-2"
        assert cost.count <= (4 if MessageKind(kind).is_safety else 2)


@pytest.mark.parametrize("kind", [kind for kind in KINDS if MessageKind(kind).is_safety])
@pytest.mark.parametrize("language", LANGUAGES)
def test_sore_skin_is_said_in_every_language_within_the_limits(
    clinic: Clinic, now: datetime, kind: str, language: str
) -> None:
    for row, recipient in every(kind, now, language):
        cost = segments(said(row, clinic, now, recipient=recipient, signs=("blister",)).text)
        assert cost.count <= (2 if cost.encoding == "GSM-7" else 4)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("language", [key for key in LANGUAGES if key != "en"])
def test_no_english_word_and_no_placeholder_is_left_in_a_mail(
    clinic: Clinic, now: datetime, kind: str, language: str
) -> None:
    clinic.name = "Hafen"
    words = said(spoken(kind, now, language), clinic, now, "email")
    everything = f"{words.subject} {words.text}".lower()
    english = [" the ", " your ", " tape comes ", "please", "monday", "call us", " skin "]
    assert [word for word in english if word in everything] == []
    assert "{" not in everything
    assert f'<html lang="{language}" dir="{tongue_of(language).direction}">' in words.html


def test_an_arabic_mail_runs_from_right_to_left_and_keeps_numbers_whole(clinic: Clinic, now: datetime) -> None:
    row = spoken("aftercare", now, "ar")
    assert row.application is not None
    html = said(row, clinic, now, "email").html
    assert '<body dir="rtl">' in html
    assert '<bdi dir="ltr">(212) 555-0100</bdi>' in html
    assert f'<a dir="ltr" href="{link_address(row.application)}"' in html


def test_an_arabic_text_begins_with_the_mark_of_its_direction(clinic: Clinic, now: datetime) -> None:
    """Its first word is the clinic's Latin name, after which a phone would set the whole from left to right."""
    text = said(spoken("removal_day", now, "ar"), clinic, now).text
    assert text.startswith("\u200fThe Harbour Lane")
    assert "\u200e(212) 555-0100\u200e" in text


def test_the_message_speaks_the_language_of_whoever_gets_it(clinic: Clinic, now: datetime) -> None:
    row = spoken("removal_day", now, "de")
    french = HelperFactory(patient=row.patient, call_me="Hal", language="fr")
    assert "Ihr Tape" in said(row, clinic, now).text
    assert said(row, clinic, now, "email", recipient=french).subject.startswith("La bande pour Ada")


@pytest.mark.parametrize(("own", "expected"), [("en", "Your tape"), ("es", "Su cinta")])
def test_a_language_that_is_off_gives_way_to_the_clinic_s(
    clinic: Clinic, now: datetime, own: str, expected: str
) -> None:
    clinic.language, clinic.languages = own, {}
    assert said(spoken("removal_day", now, "ar"), clinic, now, "email").subject.startswith(expected)


def test_the_mail_to_the_duty_address_stays_english(clinic: Clinic, now: datetime) -> None:
    clinic.language = "ar"
    row = Message(patient=VisitFactory().patient, kind="duty_report", subject="report:0", planned_for=now)
    assert said(row, clinic, now, "email").subject == "Skin reaction reported while the clinic is closed"


def test_days_are_spelt_plainly_in_a_text_and_rightly_in_a_mail(clinic: Clinic) -> None:
    row = spoken("removal_day", SATURDAY, "es")
    assert "sabado, 13 de marzo" in said(row, clinic, SATURDAY).text
    assert "sábado, 13 de marzo" in said(row, clinic, SATURDAY, "email").text
