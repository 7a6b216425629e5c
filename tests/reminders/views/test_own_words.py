"""The pages on which a manager changes what messages say: what is shown, refused, previewed, kept and told."""

from collections.abc import Callable
from datetime import timedelta
from html import unescape
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from clinic.models import Clinic, Event, Patient, User
from clinic.rules.tongue import LANGUAGES
from clinic.selectors import clinic_get
from clinic.services.events import Actor
from reminders.rules.own_words import EDITED
from reminders.selectors.own_words import text_version
from reminders.services.own_words import words_change
from taping.models import Application
from tests.factories import PatientFactory, UserFactory

SignedIn = Callable[..., tuple[Client, User]]
QueriesOf = Callable[[str], int]

SET, SHORT = "exercise_ok-sms-set-1", "exercise_ok-sms-short-1"
NEW = "{Tape} holds now ({place}). Move only as your therapist told you."
PAGE = reverse("text_edit", args=["en", "exercise_ok"])
LOOK = reverse("text_preview", args=["en", "exercise_ok"])


@pytest.fixture
def manager(signed_in: SignedIn) -> Client:
    return signed_in("manager")[0]


def words(answer: Any) -> str:
    """The page as it is read, in one line."""
    return unescape(" ".join(answer.content.decode().split()))


def form_of(client: Client, address: str = PAGE) -> dict[str, str]:
    """What the page's form holds, as a browser would send it back."""
    form = client.get(address).context["form"]
    return {name: str(form[name].value() or "") for name in form.fields if name != "fluent"}


def save(client: Client, address: str = PAGE, **typed: str) -> Any:
    read = {"reader": "Nur Halloran", "fluent": "on"}
    data = {**form_of(client, address), **read, "do": "save", **typed}
    return client.post(address, {name: value for name, value in data.items() if value or name in typed}, follow=True)


def test_every_message_is_listed_with_every_language(manager: Client) -> None:
    page = manager.get(reverse("texts")).content.decode()
    links = {reverse("text_edit", args=[language, kind]) for language in LANGUAGES for kind in EDITED}
    assert {link for link in links if f'href="{link}"' not in page} == set()
    assert len(links) == len(LANGUAGES) * len(EDITED)
    assert words(manager.get(reverse("settings"))).count(f'href="{reverse("texts")}"') == 1


@pytest.mark.parametrize("language", LANGUAGES)
def test_each_message_opens_in_each_language(manager: Client, language: str) -> None:
    answers = {kind: manager.get(reverse("text_edit", args=[language, kind])).status_code for kind in EDITED}
    assert answers == dict.fromkeys(EDITED, 200)


@pytest.mark.parametrize("where", [("en", "duty_report"), ("xx", "aftercare"), ("en", "nothing")])
def test_there_is_no_page_for_what_is_no_message(manager: Client, where: tuple[str, str]) -> None:
    for name in ("text_edit", "text_preview"):
        assert manager.post(reverse(name, args=where)).status_code == 404


def test_new_words_are_saved_and_said(manager: Client) -> None:
    page = words(save(manager, **{SET: NEW}))
    assert "The words are saved. Messages not yet sent say them when they go; what was sent stays as it was." in page
    assert clinic_get().texts == {"en": {"exercise_ok.sms.set#1": NEW}}
    assert "Your own words, read by <bdi>Nur Halloran</bdi>, today. The program's: " in page
    assert "Harbour Lane Clinic (212) 555-0100: Your tape holds now (left knee). Move only" in page
    assert "English · 1 of your own" in words(manager.get(reverse("texts")))
    assert "1 sentence of your own, read since by <bdi>Nur Halloran</bdi>" in words(manager.get(reverse("languages")))
    event = Event.objects.get(verb="texts.changed")
    assert (event.actor is not None, event.fields) == (True, ["en:exercise_ok.sms.set#1"])


def test_nothing_different_is_nothing_saved(manager: Client) -> None:
    assert "Nothing was different: nothing was saved." in words(save(manager, reader="", fluent=""))
    assert Event.objects.filter(verb="texts.changed").count() == 0


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("{Tape} has set for {surname}.", "{surname} goes into no message: others may read it."),
        ("{Tape} has set } now.", "A { or } stands where no placeholder is."),
        ("{Tape} has set in {room}.", "{room} is not known in this sentence. Known are {tape}, {place}, {telephone}"),
        ("", "Write the sentence, or go back to the program's own words."),
        ("Set\x07.", "The character U+0007 cannot be kept in a single line: remove it."),
        ("{Tape} has set. " + "Do take good care of it. " * 12, "would take 3 segments"),
    ],
)
def test_what_cannot_be_said_is_refused_beside_its_field_and_nothing_is_lost(
    manager: Client, typed: str, said: str
) -> None:
    mail = "{Tape} is set & fine ({place})."
    answer = save(manager, **{SET: typed, "exercise_ok-mail-set-1": mail})
    page = words(answer)
    assert (answer.status_code, clinic_get().texts) == (422, {})
    assert f'id="id_{SET}_error"' in page
    assert page.count(said) >= 2
    form = answer.context["form"]
    assert (form[SET].value(), form["exercise_ok-mail-set-1"].value(), form["reader"].value()) == (
        typed, mail, "Nur Halloran",
    )  # fmt: skip
    assert "<title>Error: " in page


def test_words_are_never_markup(manager: Client) -> None:
    save(manager, **{"exercise_ok-mail-set-1": "{Tape} <script>alert(1)</script> ({place})."})
    page = manager.get(PAGE).content.decode()
    assert "<script>alert" not in page
    assert page.count("&lt;script&gt;alert(1)") == 2


def test_a_locked_sentence_is_shown_and_has_no_field(manager: Client) -> None:
    address = reverse("text_edit", args=["en", "skin_check"])
    answer = manager.get(address)
    assert words(answer).count("cannot be changed</span>") == 12
    assert 'dir="ltr">Cold, blue or numb: tape off now.</p>' in words(answer)
    assert [name for name in answer.context["form"].fields if "cold" in name or "emergency" in name] == []
    save(manager, address, **{"skin_check-sms-cold-1": "Nothing to fear."})
    assert clinic_get().texts == {}


def test_words_for_a_language_that_is_on_need_their_reader(manager: Client) -> None:
    nobody = save(manager, **{SET: NEW, "reader": "", "fluent": ""})
    unsure = save(manager, **{SET: NEW, "fluent": ""})
    assert (nobody.status_code, unsure.status_code, clinic_get().texts) == (422, 422, {})
    assert 'href="#id_reader">Write the name of the clinician who read the new words.' in words(nobody)
    assert 'href="#id_fluent">Tick this only where it is true' in words(unsure)


def test_a_language_that_is_off_is_said_to_be_and_takes_words_without_a_reader(manager: Client) -> None:
    address = reverse("text_edit", args=["ar", "exercise_ok"])
    page = manager.get(address)
    assert "Arabic is off: nobody gets these words until" in words(page)
    assert "Who read the new words" not in words(page)
    assert page.content.decode().count('dir="rtl"') > 5
    saved = save(manager, address, **{"exercise_ok-sms-short-1": "ثبت الشريط.", "reader": "", "fluent": ""})
    assert "Nobody gets them until Arabic is approved under Languages." in words(saved)
    assert clinic_get().texts["ar"] == {"exercise_ok.sms.short#1": "ثبت الشريط."}


def test_back_to_the_program_s_words_waits_for_the_save_and_keeps_what_is_typed(manager: Client) -> None:
    save(manager, **{SET: NEW, SHORT: "Set."})
    typed = {**form_of(manager), "exercise_ok-mail-water-1": "Water after {water_from}.", "back": SET}
    page = manager.post(PAGE, typed)
    form = page.context["form"]
    assert (form[SET].value()[:15], form[SHORT].value()) == ("{Tape} has set:", "Set.")
    assert form["exercise_ok-mail-water-1"].value() == "Water after {water_from}."
    assert "Nothing is saved yet: look, then save." in words(page)
    assert len(clinic_get().texts["en"]) == 2
    every = manager.post(PAGE, {**typed, "back": "all"}).context["form"]
    assert (every[SHORT].value(), every["exercise_ok-mail-water-1"].value()[:6]) == ("The tape has set. Move only as your therapist said.", "Sweat,")  # noqa: E501  # fmt: skip
    save(manager, **{name: str(every[name].value()) for name in (SET, SHORT)}, reader="", fluent="")
    assert (clinic_get().texts, clinic_get().text_readers) == ({"en": {}}, {"en": {}})


def test_the_preview_says_what_is_typed_and_saves_nothing(manager: Client) -> None:
    typed = {**form_of(manager), SET: "{Tape} holds – “well”: {place}."}
    whole, live = manager.post(PAGE, {**typed, "do": "show"}), manager.post(LOOK, typed)
    said = 'Your tape holds - "well": left knee.'
    assert (said in words(whole), said in words(live)) == (True, True)
    assert "1 segment: " in words(live)
    assert (live.content.decode().count("<html"), clinic_get().texts) == (0, {})
    assert Event.objects.count() == 0


def test_the_preview_names_faults_and_letters_that_make_it_dear(manager: Client) -> None:
    typed = {**form_of(manager), SET: "{Tape} has set ✓ ({place}).", "exercise_ok-mail-set-1": "{nothing}"}
    page = words(manager.post(LOOK, typed))
    assert 'Outside the plain alphabet: <bdi class="number">✓</bdi>' in page
    assert "because of letters outside the plain alphabet (UCS-2)" in page
    assert "{nothing} is not known in this sentence." in page
    assert "Your tape has set: left knee. Move only as your therapist told you." in page  # the mail as it is stored


def test_the_preview_says_that_a_text_would_not_go(manager: Client) -> None:
    long = "Do take good care of it. " * 12
    page = words(manager.post(LOOK, {**form_of(manager), SET: f"{{Tape}}: {long}", SHORT: long}))
    assert "Too long even in its short form (3 segments): it would not go. Shorten it." in page


def test_a_patient_is_found_by_name_and_chosen_without_losing_a_word(manager: Client, tape: Application) -> None:
    found = manager.post(PAGE, {**form_of(manager), SET: NEW, "do": "find", "who": "quillf"})
    assert f'name="choose" value="{tape.patient_id}"' in words(found)
    assert (found.context["form"][SET].value(), found.context["form"]["who"].value()) == (NEW, "quillf")
    chosen = manager.post(PAGE, {**form_of(manager), SET: NEW, "choose": str(tape.patient_id)})
    assert "As <bdi>Ada Quillfeather</bdi> would get it now" in words(chosen)
    hers, _, invented = words(chosen).partition("To an invented patient called Ada")
    assert ["Your tape holds now (left knee)" in one for one in (hers, invented)] == [True, True]
    assert chosen.context["form"]["patient"].value() == str(tape.patient_id)
    by_enter = manager.post(PAGE, {**form_of(manager), SET: NEW, "do": "show", "who": "quillf"})
    assert by_enter.context["found"] == found.context["found"]
    nobody = manager.post(PAGE, {**form_of(manager), "do": "find", "who": "nobody of that name"})
    assert "Nobody of that name." in words(nobody)


def test_a_look_at_a_patient_is_an_event_once_for_a_while(
    manager: Client, tape: Application, frozen: time_machine.Traveller
) -> None:
    def looks() -> list[tuple[str, int]]:
        return list(Event.objects.filter(verb="patient.read").values_list("subject_type", "patient_id"))

    typed = {**form_of(manager), "patient": str(tape.patient_id)}
    for _ in range(3):
        assert "As <bdi>Ada Quillfeather</bdi>" in words(manager.post(LOOK, typed))
    assert looks() == [("patient", tape.patient_id)]
    other = PatientFactory(full_name="Bo Lund")
    assert "There is no tape or visit of theirs" in words(manager.post(LOOK, {**typed, "patient": str(other.pk)}))
    assert len(looks()) == 2
    frozen.shift(timedelta(minutes=16))
    manager.post(LOOK, {**typed, "patient": str(other.pk)})
    assert len(looks()) == 3


@pytest.mark.parametrize("number", ["999999", "-1", "x", "9" * 30, ""])
def test_a_number_nobody_has_shows_nobody(manager: Client, number: str) -> None:
    answer = manager.post(LOOK, {**form_of(manager), "patient": number})
    assert (answer.status_code, "would get it now" in words(answer)) == (200, False)
    assert Event.objects.count() == 0


def test_somebody_erased_is_shown_to_nobody(manager: Client, tape: Application) -> None:
    Patient.objects.filter(pk=tape.patient_id).update(erased_at=tape.saved_at)
    assert "would get it now" not in words(manager.post(LOOK, {**form_of(manager), "patient": str(tape.patient_id)}))


def test_a_preview_changes_nobody_s_language(manager: Client, tape: Application) -> None:
    address = reverse("text_preview", args=["de", "exercise_ok"])
    page = words(manager.post(address, {"patient": str(tape.patient_id)}))
    assert 'lang="de"' in page
    assert Patient.objects.get(pk=tape.patient_id).language == "en"


def test_no_full_name_stands_in_any_message_that_is_shown(manager: Client, tape: Application) -> None:
    for kind in EDITED:
        page = words(manager.post(reverse("text_preview", args=["en", kind]), {"patient": str(tape.patient_id)}))
        assert (kind, page.count("Quillfeather"), page.count("/t/"), page.count("/u/")) == (kind, 1, 0, 0)


def test_two_managers_see_who_changed_what_and_both_versions(
    manager: Client, clinic: Clinic, tape: Application
) -> None:
    mine = {**form_of(manager), "reader": "Nur Halloran", "fluent": "on", "do": "save"}
    other = UserFactory(manager=True, full_name="Olga Marsh")
    theirs = {"exercise_ok.sms.set#1": "{Tape} is set ({place}).", "exercise_ok.sms.short#1": "All set."}
    words_change(
        actor=Actor(user=other), now=tape.saved_at, language="en", changes=theirs, version=text_version(), reader="X"
    )
    answer = manager.post(PAGE, {**mine, SET: NEW, "exercise_ok-mail-water-1": "Water after {water_from}."})
    page, form = words(answer), answer.context["form"]
    assert (answer.status_code, clinic_get().texts["en"]) == (409, theirs)
    assert "<bdi>Olga Marsh</bdi> saved today 10:00" in page
    assert "Text message: First (of one), Text message: Where the whole would be too long." in page
    stored, typed = '<td dir="auto" data-name="Stored now">', '<td dir="auto" data-name="You typed">'
    assert f"{stored}{{Tape}} is set ({{place}}).</td>{typed}{NEW}</td>" in page
    assert (form[SET].value(), form["exercise_ok-mail-water-1"].value(), form["reader"].value()) == (
        "{Tape} is set ({place}).", "Water after {water_from}.", "Nur Halloran",
    )  # fmt: skip
    again = {name: str(form[name].value() or "") for name in form.fields} | {"do": "save", SET: NEW, "fluent": "on"}
    assert manager.post(PAGE, again).status_code == 302
    assert clinic_get().texts["en"] == {
        "exercise_ok.sms.set#1": NEW,
        "exercise_ok.sms.short#1": "All set.",
        "exercise_ok.mail.water#1": "Water after {water_from}.",
    }


def test_a_form_that_lost_its_version_counts_as_old(manager: Client, clinic: Clinic, tape: Application) -> None:
    save(manager, **{SET: NEW})
    data = {**form_of(manager), "version": "", SET: "{Tape} is set.", "do": "save", "reader": "Nur", "fluent": "on"}
    assert manager.post(PAGE, data).status_code == 409


@pytest.mark.parametrize("kind", EDITED)
def test_no_page_asks_more_than_fifteen_times(manager: Client, queries_of: QueriesOf, kind: str) -> None:
    assert queries_of(reverse("text_edit", args=["ar", kind])) <= 15


def test_the_desk_reads_the_texts_and_is_not_led_to_change_them(signed_in: SignedIn) -> None:
    for role, there in (("desk", False), ("manager", True)):
        page = words(signed_in(role)[0].get(reverse("message_texts")))
        assert (f'href="{reverse("texts")}"' in page) is there


def test_the_preview_shows_what_stands_first_on_the_page(manager: Client) -> None:
    typed = {"removal_day-page-home-1": "{Off_when} it comes off. Slowly does it."}
    page = words(manager.post(reverse("text_preview", args=["en", "removal_day"]), typed))
    assert "First on their page then, and on the sheet from the day it comes off:" in page
    assert "Today it comes off. Slowly does it." in page
    assert "We take the tape off today at 11:00." in page
    sent = save(
        manager, reverse("text_edit", args=["en", "removal_day"]), **{"removal_day-page-home-1": "Take it off."}
    )
    assert "{off_when} is missing" in words(sent)
