"""Languages in the settings: off until approved by name, and what a patient and the patient page then say."""

from collections.abc import Callable
from datetime import date, datetime
from html import unescape

import pytest
from django.test import Client
from django.urls import reverse

from clinic.models import Clinic, Event, User
from clinic.rules.tongue import LANGUAGES, tongue_of
from clinic.selectors import clinic_get
from clinic.services.events import Actor
from clinic.services.languages import LanguageRefused, language_approve, language_choose, language_withdraw
from taping.models import Application
from tests.factories import HelperFactory, PatientFactory

SignedIn = Callable[..., tuple[Client, User]]
BY = Actor(word="test")


@pytest.fixture
def manager(signed_in: SignedIn) -> Client:
    return signed_in("manager")[0]


def approve(client: Client, language: str = "ar", **changed: str) -> object:
    data = {"language": language, "name": "Nur Halloran", "fluent": "on"} | changed
    return client.post(reverse("language_approved"), {key: value for key, value in data.items() if value}, follow=True)


def page_of(client: Client) -> str:
    return unescape(" ".join(client.get(reverse("languages")).content.decode().split()))


def test_a_language_is_on_once_a_clinician_stands_for_it_by_name(manager: Client) -> None:
    approve(manager)
    edition = tongue_of("ar").edition
    assert clinic_get().languages == {"ar": {"name": "Nur Halloran", "on": "2027-03-10", "edition": edition}}
    assert "approved by <bdi>Nur Halloran</bdi>, today" in page_of(manager)
    event = Event.objects.get(verb="language.approved")
    assert (event.fields, event.actor is not None) == (["ar"], True)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"name": ""}, "Write the clinician's name."),
        ({"fluent": ""}, "Tick this only where it is true; otherwise leave the language off."),
    ],
)
def test_without_a_name_or_the_tick_it_stays_off(manager: Client, changed: dict[str, str], said: str) -> None:
    data = {"language": "ar", "name": "Nur Halloran", "fluent": "on"} | changed
    answer = manager.post(reverse("language_approved"), {key: value for key, value in data.items() if value})
    assert (answer.status_code, clinic_get().languages) == (422, {})
    assert unescape(answer.content.decode()).count(said) == 2


def test_a_language_nobody_knows_is_refused(manager: Client) -> None:
    answer = manager.post(reverse("language_approved"), {"language": "xx", "name": "Nur", "fluent": "on"})
    assert (answer.status_code, clinic_get().languages) == (422, {})


def test_it_can_be_switched_off_again(manager: Client) -> None:
    approve(manager)
    manager.post(reverse("language_off"), {"language": "ar"})
    assert clinic_get().languages == {}
    assert Event.objects.filter(verb="language.withdrawn", fields=["ar"]).count() == 1


def test_the_clinic_s_own_language_has_to_be_approved_and_cannot_be_switched_off(manager: Client) -> None:
    manager.post(reverse("language_own"), {"language": "es"})
    assert clinic_get().language == "en"
    approve(manager, "es")
    manager.post(reverse("language_own"), {"language": "es"})
    manager.post(reverse("language_off"), {"language": "es"})
    assert (clinic_get().language, list(clinic_get().languages)) == ("es", ["es"])


def test_the_services_refuse_what_the_page_does_not_offer(clinic: Clinic, now: datetime) -> None:
    with pytest.raises(LanguageRefused, match="Choose one from the list"):
        language_approve(actor=BY, now=now, language="xx", name="Nur", on=date(2027, 3, 10))
    with pytest.raises(LanguageRefused, match="Write the name"):
        language_approve(actor=BY, now=now, language="ar", name=" ", on=date(2027, 3, 10))
    with pytest.raises(LanguageRefused, match="Nobody has approved"):
        language_choose(actor=BY, now=now, language="ar")
    with pytest.raises(LanguageRefused, match="the clinic's own"):
        language_withdraw(actor=BY, now=now, language="en")


def test_the_same_again_changes_and_tells_nothing(clinic: Clinic, now: datetime) -> None:
    language_choose(actor=BY, now=now, language="en")
    language_withdraw(actor=BY, now=now, language="ar")
    assert Event.objects.filter(verb__startswith="language.").count() == 0


def test_the_page_says_how_many_people_wait_for_a_language(manager: Client) -> None:
    PatientFactory(language="ar")
    HelperFactory(patient=PatientFactory(language="ar"), language="fr", gets_messages=True)
    page = page_of(manager)
    assert page.count("1 person wants it") == 2
    assert page.count("0 people want it") == len(LANGUAGES) - 3
    assert page.count("want") == len(LANGUAGES) - 1, "who has English may only not have been asked"


def test_the_patient_page_says_that_a_language_is_off(signed_in: SignedIn, tape: Application, clinic: Clinic) -> None:
    client, _ = signed_in("desk")
    tape.patient.language = "ar"
    tape.patient.save()
    where = reverse("patient_page", args=[tape.patient_id])
    said = "is written to in English, because nobody has approved Arabic yet"
    assert said in client.get(where).content.decode()
    clinic.languages = {"ar": {"name": "Nur Halloran", "on": "2027-03-10"}}
    clinic.save()
    assert said not in client.get(where).content.decode()


def test_the_patient_page_says_it_of_the_helper_who_gets_the_messages(signed_in: SignedIn, tape: Application) -> None:
    client, _ = signed_in("desk")
    HelperFactory(patient=tape.patient, language="fr", gets_messages=True)
    page = client.get(reverse("patient_page", args=[tape.patient_id])).content.decode()
    assert "gets the messages in English, because nobody has approved French yet" in page


@pytest.mark.parametrize("language", ["es", "fr", "de", "ar"])
def test_texts_can_be_read_before_they_are_approved(manager: Client, language: str) -> None:
    page = manager.get(reverse("message_texts"), {"language": language}).content.decode()
    assert f'lang="{language}"' in page
    assert "is off: nobody gets these texts" in page
    assert "cannot be made short enough" not in page


def test_a_language_in_the_address_that_there_is_none_of_shows_the_clinic_s(manager: Client) -> None:
    assert 'class="own-words" lang="en"' in manager.get(reverse("message_texts"), {"language": "xx"}).content.decode()


NEWER = "Sentences were added or worded anew since Nur Halloran read them."
UNREAD = "Patients read sentences that nobody here has read yet:"


@pytest.mark.parametrize("edition", [{}, {"edition": "0123456789abcdef"}])
def test_a_manager_is_told_where_sentences_changed_since_somebody_read_them(
    manager: Client, clinic: Clinic, edition: dict[str, str]
) -> None:
    clinic.languages = {"ar": {"name": "Nur Halloran", "on": "2026-03-10"} | edition}
    clinic.save()
    assert NEWER.replace("Nur Halloran", "<bdi>Nur Halloran</bdi>") in page_of(manager)
    assert UNREAD in manager.get(reverse("today")).content.decode()
    approve(manager)
    assert "Sentences were added" not in page_of(manager)
    assert UNREAD not in manager.get(reverse("today")).content.decode()


def test_nobody_but_a_manager_is_told_of_unread_sentences(signed_in: SignedIn, clinic: Clinic) -> None:
    clinic.languages = {"ar": {"name": "Nur Halloran", "on": "2026-03-10"}}
    clinic.save()
    assert UNREAD not in signed_in("therapist")[0].get(reverse("today")).content.decode()
