"""Keeping a clinic's own words: what they do to messages, who read them, two managers at once, and what is refused."""

from datetime import datetime, timedelta

import pytest

from clinic.models import Clinic, Event, Patient
from clinic.rules.tongue import LANGUAGES
from clinic.selectors import clinic_get
from clinic.services.clinic import clinic_change
from clinic.services.events import Actor
from clinic.services.languages import language_approve
from reminders.models import Message
from reminders.rules.instruction import first_key
from reminders.rules.kinds import MessageKind
from reminders.rules.own_words import EDITED
from reminders.rules.sms import segments
from reminders.rules.texts import PAGE, TEXTS
from reminders.selectors.own_words import own_counts, text_changes_since, text_version
from reminders.services.own_words import ReaderMissing, WordsChanged, WordsRefused, words_change
from reminders.services.text_trial import ORDINARY, Trial, trial_of, trials
from tests.factories import ApplicationFactory, HelperFactory, PatientFactory, UserFactory, VisitFactory
from tests.reminders.services.conftest import Ways
from tests.reminders.services.test_rendering import message, said

pytestmark = pytest.mark.django_db

BY = Actor(word="test")
KEY = "exercise_ok.sms.short#1"
SET = "exercise_ok.sms.set#1"
NEW = "{Tape} holds now ({place}). Move only as your therapist told you."


def change(
    changes: dict[str, str], now: datetime, *, language: str = "en", version: int | None = None, reader: str = "Nur"
) -> Clinic:
    at = text_version() if version is None else version
    return words_change(actor=BY, now=now, language=language, changes=changes, version=at, reader=reader)


def test_a_message_not_yet_sent_says_the_new_words_and_one_that_went_keeps_its_own(
    clinic: Clinic, now: datetime, ways: Ways
) -> None:
    first, second = ApplicationFactory(), ApplicationFactory(applied_at=now + timedelta(minutes=30))
    ways.run(now)
    change({"aftercare.sms.on#1": "{Tape} sits on the {place}."}, now)
    ways.run(now + timedelta(minutes=31))
    texts = [Message.objects.get(application=tape, kind="aftercare").text for tape in (first, second)]
    assert ["Your tape on: left knee." in text for text in texts] == [True, False]
    assert ["Your tape sits on the left knee." in text for text in texts] == [False, True]


def test_saving_plans_nothing_anew(clinic: Clinic, now: datetime) -> None:
    before = clinic_get().plan_version
    change({SET: NEW}, now)
    assert clinic_get().plan_version == before


def test_they_are_kept_with_their_reader_and_an_event_that_names_no_word_of_them(clinic: Clinic, now: datetime) -> None:
    change({SET: NEW}, now)
    stored = clinic_get()
    assert (stored.texts, stored.text_readers) == (
        {"en": {SET: NEW}},
        {"en": {SET: {"name": "Nur", "on": "2027-03-10", "approved": ""}}},
    )
    event = Event.objects.get(verb="texts.changed")
    assert (event.fields, event.subject_type, event.patient) == ([f"en:{SET}"], "clinic", None)
    assert own_counts(stored) == {("en", "exercise_ok"): 1}


def test_going_back_leaves_nothing_and_needs_nobody(clinic: Clinic, now: datetime) -> None:
    change({SET: NEW}, now)
    change({SET: ""}, now, reader="")
    assert (clinic_get().texts, clinic_get().text_readers) == ({"en": {}}, {"en": {}})


def test_the_same_again_changes_and_tells_nothing(clinic: Clinic, now: datetime) -> None:
    change({SET: NEW}, now)
    change({SET: NEW}, now, reader="", version=0)
    change({KEY: ""}, now, reader="", version=0)
    assert Event.objects.filter(verb="texts.changed").count() == 1


@pytest.mark.parametrize("reader", ["", "  "])
def test_a_language_that_is_on_takes_no_words_that_nobody_read(clinic: Clinic, now: datetime, reader: str) -> None:
    with pytest.raises(ReaderMissing, match="Write the name"):
        change({SET: NEW}, now, reader=reader)
    assert (clinic_get().texts, Event.objects.count()) == ({}, 0)


def test_a_language_that_is_off_waits_for_its_approval_as_a_whole(clinic: Clinic, now: datetime) -> None:
    words = "{Tape} hat gehalten ({place})."
    change({SET: words}, now, language="de", reader="")
    assert clinic_get().text_readers == {"de": {}}
    language_approve(actor=BY, now=now, language="de", name="Nur Halloran", on=now.date())
    with pytest.raises(ReaderMissing):  # the program's German was not what they read
        change({SET: ""}, now, language="de", reader="")


A, B, C = "{Tape} hat gehalten ({place}).", "{Tape} sitzt ({place}).", "{Tape} klebt ({place})."


def german(now: datetime, *steps: str) -> None:
    for words in steps:
        change({SET: words}, now, language="de")


def test_the_way_back_to_the_program_s_words_asks_where_others_were_approved(clinic: Clinic, now: datetime) -> None:
    """The clinic's A was approved, B was read since: the program's own sentence may never have been."""
    german(now, A)
    language_approve(actor=BY, now=now, language="de", name="Nur Halloran", on=now.date())
    for steps in ((B,), (C, B), ("", B), (A,)):
        german(now, *steps)
        with pytest.raises(ReaderMissing):
            change({SET: ""}, now, language="de", reader="")
        assert clinic_get().texts["de"] == {SET: steps[-1]}
    german(now, "")
    assert clinic_get().text_readers["de"][SET] == {"name": "Nur", "on": "2027-03-10", "approved": A}


def test_the_way_back_to_the_program_s_words_asks_nobody_where_those_were_approved(
    clinic: Clinic, now: datetime
) -> None:
    language_approve(actor=BY, now=now, language="de", name="Nur Halloran", on=now.date())
    german(now, B, C)
    change({SET: ""}, now, language="de", reader="")
    assert (clinic_get().texts["de"], clinic_get().text_readers["de"]) == ({}, {})


def test_where_it_was_not_kept_what_was_approved_somebody_has_to_read(clinic: Clinic, now: datetime) -> None:
    language_approve(actor=BY, now=now, language="de", name="Nur Halloran", on=now.date())
    kept = clinic_get()
    kept.texts, kept.text_readers = {"de": {SET: B}}, {"de": {SET: {"name": "Nur", "on": "2027-03-10"}}}
    kept.save()
    german(now, C)  # what was approved is still not known
    with pytest.raises(ReaderMissing):
        change({SET: ""}, now, language="de", reader="")
    assert clinic_get().texts == {"de": {SET: C}}


def test_an_approval_covers_the_words_changed_before_it(clinic: Clinic, now: datetime) -> None:
    change({SET: NEW}, now)
    language_approve(actor=BY, now=now, language="en", name="Nur Halloran", on=now.date())
    assert (clinic_get().texts["en"], clinic_get().text_readers) == ({SET: NEW}, {})


def test_two_managers_at_one_message_the_second_is_told_by_whom_and_what(clinic: Clinic, now: datetime) -> None:
    opened, other = text_version(), UserFactory(manager=True)
    words_change(actor=Actor(user=other), now=now, language="en", changes={SET: NEW}, version=opened, reader="Nur")
    with pytest.raises(WordsChanged) as changed:
        change({KEY: "The tape has set."}, now, version=opened)
    assert [(event.actor, event.fields) for event in changed.value.events] == [(other, [f"en:{SET}"])]
    assert changed.value.clinic.texts == {"en": {SET: NEW}}
    assert clinic_get().texts == {"en": {SET: NEW}}


@pytest.mark.parametrize(
    ("language", "key", "words"),
    [("de", SET, "{Tape} sitzt ({place})."), ("en", "visit_booked.sms.when#1", "{Visit} is on {visit_when}.")],
)
def test_another_message_or_language_is_no_conflict(
    clinic: Clinic, now: datetime, language: str, key: str, words: str
) -> None:
    opened = text_version()
    change({SET: NEW}, now, version=opened)
    change({key: words}, now, language=language, version=opened)
    assert Event.objects.filter(verb="texts.changed").count() == 2
    assert text_changes_since("fr", "exercise_ok", 0) == []


def test_settings_saved_by_somebody_who_read_them_earlier_undo_no_words(
    clinic: Clinic, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = clinic_get()
    change({SET: NEW}, now)
    monkeypatch.setattr("clinic.services.clinic.clinic_get", lambda: before)
    clinic_change(actor=BY, now=now, values={"name": "Harbour Lane"})
    assert (clinic_get().name, clinic_get().texts) == ("Harbour Lane", {"en": {SET: NEW}})


@pytest.mark.parametrize(
    ("language", "changes", "said"),
    [
        ("xx", {SET: NEW}, "There is no such message in that language."),
        ("en", {"duty_report.mail.x#1": "Hello"}, "There is no such message in that language."),
        ("en", {"exercise_ok.sms.nothing#1": "Hello"}, "There is no such sentence in this message."),
        ("en", {SET: NEW, "visit_booked.sms.when#1": "{visit_when}"}, "There is no such sentence in this message."),
        ("en", {"exercise_ok.sms.set#3": NEW}, "There is no such sentence in this message."),
        ("en", {"skin_check.sms.cold#1": "Nothing to fear."}, "This sentence keeps people safe."),
        ("en", {SET: "{Tape} has set, {surname}."}, "{surname} goes into no message"),
    ],
)
def test_what_the_page_does_not_offer_is_refused_by_the_service(
    clinic: Clinic, now: datetime, language: str, changes: dict[str, str], said: str
) -> None:
    with pytest.raises(WordsRefused, match=said.replace("{", r"\{")):
        change(changes, now, language=language)
    assert (clinic_get().texts, Event.objects.count()) == ({}, 0)


LONG = "{Tape} has set. " + "Do take good care of it, please. " * 9


def test_a_text_message_that_gets_too_long_is_refused_with_how_much_and_where(clinic: Clinic, now: datetime) -> None:
    with pytest.raises(WordsRefused) as refused:
        change({SET: LONG.strip()}, now)
    assert list(refused.value.reasons) == [SET]
    assert refused.value.reasons[SET].startswith("The text message, whole, would take 3 segments (")
    assert "GSM-7) and 2 are allowed: one, at home. Shorten it." in refused.value.reasons[SET]


def test_a_letter_that_makes_it_dear_counts(clinic: Clinic, now: datetime) -> None:
    """158 letters are one segment of GSM-7 and three of UCS-2; a message that is not about safety may take two."""
    with pytest.raises(WordsRefused, match=r"UCS-2\) and 2 are allowed"):
        change({SET: "{Tape} has set ✓. Move only as your therapist told you, and call us if you are not sure."}, now)


def test_curly_signs_cost_nothing_more(clinic: Clinic, now: datetime) -> None:
    own = {SET: "{Tape} has set – “good” – don’t rush…"}
    change(own, now)
    one = trials(clinic=clinic_get(), now=now, language="en", kind="exercise_ok", own=own)[0]
    assert one.text.split(": ", 1)[1].startswith('Your tape has set - "good" - don\'t rush...')
    assert (one.cost.encoding, one.cost.count, one.outside) == ("GSM-7", 1, "")


def test_the_short_form_has_to_fit_everywhere(clinic: Clinic, now: datetime) -> None:
    with pytest.raises(WordsRefused, match="in its short form, would take 3 segments"):
        change({KEY: "The tape has set. " + "Do take good care of it, please. " * 9}, now)


def test_a_safety_message_may_take_four_segments_of_wide_letters_and_no_more(clinic: Clinic, now: datetime) -> None:
    wide = "الشريط على {place}. "
    with pytest.raises(WordsRefused, match=r"UCS-2\) and 4 are allowed"):
        change({"aftercare.sms.on_short#1": (wide + "نرجو العناية به. " * 15).strip()}, now, language="ar")


def test_what_was_too_long_before_is_no_fault_of_the_change(clinic: Clinic, now: datetime) -> None:
    clinic.name, clinic.texts = "漢" * 40, {"en": {KEY: "The tape has set, as you can feel. " * 8}}
    clinic.save()
    change({KEY: ("The tape has set. " * 8).strip()}, now)
    assert clinic_get().texts == {"en": {KEY: ("The tape has set. " * 8).strip()}}


def test_a_mail_has_no_segments(clinic: Clinic, now: datetime) -> None:
    change({"exercise_ok.mail.set#1": LONG.strip()}, now)
    assert list(clinic_get().texts["en"]) == ["exercise_ok.mail.set#1"]


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("kind", EDITED)
def test_every_message_can_be_tried_in_every_language_and_fits(
    clinic: Clinic, now: datetime, language: str, kind: str
) -> None:
    tried = trials(clinic=clinic, now=now, language=language, kind=kind, own={})
    assert tried[0].situation == ORDINARY
    assert [one.situation for one in tried if not one.text] == []
    assert [one.situation for one in tried if "{" in one.text + one.mail[1] or "http" in one.shown + one.mail[1]] == []


def test_every_sentence_of_a_text_message_is_said_in_some_situation(clinic: Clinic, now: datetime) -> None:
    """What is edited can be seen before it is saved: each sentence, marked, comes up in one of the trials."""
    unseen = []
    for text in TEXTS.values():
        if text.locked or text.part != "sms" or text.key in ("letter.sms.stop_there", "letter.sms.stop_link"):
            continue  # said where texts cannot be answered, which is the installation's matter
        own = {f"{text.key}#{number}": "@@" for number in (1, 2)}
        tried = trials(clinic=clinic, now=now, language="en", kind=text.kind, own=own)
        if not any("@@" in one.full + one.short for one in tried):
            unseen.append(text.key)
    assert unseen == ["stop_confirmed.sms.call", "stop_confirmed.sms.call_short"]


@pytest.mark.parametrize("kind", ["aftercare", "removal_day", "skin_follow_up"])
def test_a_patient_s_own_tape_is_what_their_preview_is_about(clinic: Clinic, now: datetime, kind: str) -> None:
    tape = ApplicationFactory(screen__region="elbow", screen__side="right")
    one = _of(clinic, now, kind, tape.patient)
    assert one is not None
    assert ("right elbow" in one.shown) or kind == "aftercare"
    assert tape.patient.full_name not in one.shown + one.mail[1]
    assert "http" not in one.shown + one.mail[1]


def _of(clinic: Clinic, now: datetime, kind: str, patient: Patient) -> Trial | None:
    return trial_of(clinic=clinic, now=now, language="en", kind=MessageKind(kind), own={}, patient=patient)


def test_a_patient_without_tape_or_visit_has_nothing_to_preview(clinic: Clinic, now: datetime) -> None:
    patient = PatientFactory()
    assert [_of(clinic, now, kind, patient) for kind in ("aftercare", "visit_booked")] == [None, None]
    assert _of(clinic, now, "stop_confirmed", patient) is not None


def test_the_preview_goes_to_the_helper_who_gets_the_messages(clinic: Clinic, now: datetime) -> None:
    visit = VisitFactory()
    HelperFactory(patient=visit.patient, call_me="Halvard", gets_messages=True)
    one = _of(clinic, now, "visit_booked", visit.patient)
    assert one is not None
    assert "Hello Halvard," in one.mail[1]
    assert f"{visit.patient.call_me}'s visit" in one.shown


def test_a_preview_says_what_the_message_itself_would(clinic: Clinic, now: datetime) -> None:
    row = message("removal_day", now)
    one = _of(clinic, now, "removal_day", row.patient)
    assert one is not None
    assert (one.text, one.cost) == (said(row, clinic, now).text, segments(said(row, clinic, now).text))


PAGE_WORDS = {"removal_day.page.home#1": "{Off_when} {tape} ({place}) comes off. Questions: {telephone}."}


def test_the_page_must_keep_its_day(clinic: Clinic, now: datetime) -> None:
    with pytest.raises(WordsRefused, match=r"\{off_when\} is missing"):
        change({"removal_day.page.home#1": "Take it off."}, now)
    with pytest.raises(WordsRefused, match="keeps people safe"):
        change({"removal_overdue.page.home#1": "Wear it on."}, now)
    with pytest.raises(WordsRefused, match="at most 120 fit"):
        change({"aftercare.page.on#1": "Leave it. " * 13}, now)


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_sentence_of_the_page_is_seen_in_some_preview(clinic: Clinic, now: datetime, language: str) -> None:
    seen = {
        first_key(one.tape)
        for kind in EDITED
        for one in trials(clinic=clinic, now=now, language=language, kind=kind, own={})
        if one.tape is not None and one.page
    }
    assert seen == {key for key, text in TEXTS.items() if text.part == PAGE}


def test_the_preview_of_the_page_is_what_the_page_says(clinic: Clinic, now: datetime) -> None:
    tape = ApplicationFactory()
    change(PAGE_WORDS, now)
    day = now + timedelta(days=5)
    one = trial_of(
        clinic=clinic_get(), now=day, language="en", kind=MessageKind.REMOVAL_DAY, own=PAGE_WORDS, patient=tape.patient
    )
    assert one is not None
    assert one.page == "Today your tape (left knee) comes off. Questions: (212) 555-0100."
    early = trial_of(
        clinic=clinic_get(), now=now, language="en", kind=MessageKind.REMOVAL_DAY, own=PAGE_WORDS, patient=tape.patient
    )
    assert early is not None
    assert early.page == ""  # the page says something else by then
