"""The patient's page in the patient's language: every answer, right to left, and nothing left in English."""

import re
from collections.abc import Callable
from html import unescape

import pytest
import time_machine
from django.test import Client

from clinic.models import Clinic
from clinic.rules.tongue import LANGUAGES, tongue_of
from reminders.models import CallItem
from reminders.services.links import link_token
from taping.models import Application, SkinReport
from tests.factories import HelperFactory
from tests.reminders.tongues import OTHERS, english_in


def words_of(page: str) -> str:
    """What a person reads or hears of the page, without its tags' other attributes."""
    heard = " ".join(re.findall(r'alt="([^"]*)"', page))
    return unescape(re.sub(r"<[^>]+>", " ", page) + heard)


@pytest.mark.parametrize("key", OTHERS)
def test_no_english_is_left_on_any_page(
    client: Client, token: str, tape: Application, speak: Callable[[str], None], key: str
) -> None:
    speak(key)
    stop = link_token(tape, "stop")
    pages = [client.get(f"/t/{token}/"), client.get(f"/t/{token}/skin/"), client.get(f"/u/{stop}/")]
    pages += [client.post(f"/t/{token}/skin/", {"send": "yes"}), client.post(f"/t/{token}/call/", follow=True)]
    pages += [client.post(f"/t/{token}/skin/", {"send": "yes", "signs": ["breathing"]}, follow=True)]
    pages += [
        client.post(f"/t/{token}/off/", follow=True),
        client.post(f"/t/{token}/undo/", {"undo": "off"}, follow=True),
    ]
    pages += [client.post(f"/u/{stop}/", {"List-Unsubscribe": "One-Click"})]
    for page in pages:
        text = page.content.decode()
        assert f'<html lang="{key}" dir="{tongue_of(key).direction}">' in text
        assert english_in(words_of(text)) == []


@pytest.mark.parametrize("removal", ["home", "helper", "clinic"])
@pytest.mark.parametrize(
    "moment", ["2027-03-10T15:30:00Z", "2027-03-13T15:00:00Z", "2027-03-15T15:00:00Z", "2027-03-17T15:00:00Z"]
)
@pytest.mark.parametrize("key", OTHERS)
def test_every_day_and_way_of_coming_off_is_said(
    client: Client, token: str, tape: Application, speak: Callable[[str], None],
    frozen: time_machine.Traveller, key: str, moment: str, removal: str,
) -> None:  # fmt: skip
    speak(key)
    tape.removal = removal
    tape.save()
    frozen.move_to(moment)
    assert english_in(words_of(client.get(f"/t/{token}/").content.decode())) == []


def test_arabic_runs_from_right_to_left_and_keeps_numbers_in_order(
    token: str, text_of: Callable[[str], str], speak: Callable[[str], None]
) -> None:
    speak("ar")
    page = text_of(f"/t/{token}/")
    assert '<html lang="ar" dir="rtl">' in page
    assert '<bdi dir="ltr" class="number">(212) 555-0100</bdi>' in page
    assert '<a href="tel:911"><bdi dir="ltr">911</bdi></a>' in page


def test_the_four_answers_work_in_arabic(
    client: Client, tape: Application, token: str, speak: Callable[[str], None]
) -> None:
    speak("ar")
    assert "شكرًا. سنتصل بك." in client.post(f"/t/{token}/call/", follow=True).content.decode()
    skin = client.post(f"/t/{token}/skin/", {"send": "yes", "signs": ["itching"]}, follow=True).content.decode()
    assert "شكرًا. يقرأ معالج ما أرسلته." in skin
    assert "شكرًا. سجلنا أنه سقط قبل موعده." in client.post(f"/t/{token}/came-off/", follow=True).content.decode()
    tape.refresh_from_db()
    assert (tape.ended_how, SkinReport.objects.count(), CallItem.objects.count()) == ("came_off", 1, 2)


def test_a_language_that_is_off_gives_way_to_the_clinic_s(
    tape: Application, token: str, text_of: Callable[[str], str]
) -> None:
    tape.patient.language = "ar"
    tape.patient.save()
    assert '<html lang="en" dir="ltr">' in text_of(f"/t/{token}/")


def test_the_page_speaks_the_language_of_the_helper_who_gets_the_link(
    tape: Application, token: str, text_of: Callable[[str], str], speak: Callable[[str], None]
) -> None:
    speak("ar")
    HelperFactory(patient=tape.patient, language="fr", gets_messages=True)
    assert '<html lang="fr" dir="ltr">' in text_of(f"/t/{token}/")


def test_an_unknown_link_speaks_the_clinic_s_language_whoever_it_once_was_for(
    client: Client, clinic: Clinic, speak: Callable[[str], None]
) -> None:
    speak("ar")
    clinic.language = "de"
    clinic.save()
    assert '<html lang="de" dir="ltr">' in client.get("/t/nobody/").content.decode()


def test_a_form_that_stood_open_too_long_keeps_its_language(
    token: str, tape: Application, speak: Callable[[str], None]
) -> None:
    speak("fr")
    page = Client(enforce_csrf_checks=True).post(f"/t/{token}/off/").content.decode()
    assert '<html lang="fr" dir="ltr">' in page
    assert "Rien n&#x27;a encore été envoyé." in page or "Rien n'a encore été envoyé." in page


@pytest.mark.parametrize("key", LANGUAGES)
def test_pictures_carry_their_words_in_the_language(
    client: Client, token: str, speak: Callable[[str], None], key: str
) -> None:
    speak(key)
    page = unescape(client.get(f"/t/{token}/").content.decode())
    svg = client.get(re.findall(r'src="(/[^"]*pictures?/[^"]*)"', page)[0]).content.decode()
    assert f">{tongue_of(key).say('start')}</text>" in svg


def test_a_picture_in_a_language_there_is_none_of_is_not_found(client: Client, clinic: Clinic, token: str) -> None:
    page = client.get(f"/t/{token}/").content.decode()
    address = re.findall(r'src="(/[^"?]*)\?', page)[0]
    assert (client.get(f"{address}?in=ar").status_code, client.get(f"{address}?in=xx").status_code) == (200, 404)
