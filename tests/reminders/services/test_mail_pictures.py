"""Pictures inside a mail, taken apart with the standard library's reader after a real mail server took it."""

from collections.abc import Callable
from datetime import datetime, timedelta
from email.message import EmailMessage
from io import BytesIO
from re import findall

import pytest
from django.conf import settings as own_settings
from django.db import connection
from django.db.models import F
from django.test.utils import CaptureQueriesContext
from PIL import Image

from clinic.models import Clinic, Patient, Visit
from clinic.services.events import Actor
from reminders.models import Message
from reminders.services.links import link_token, links_keep
from reminders.services.mail_pictures import mail_pictures
from reminders.services.rendering import Words, render
from reminders.services.running import run_due
from reminders.services.wording import Saying
from reminders.transports import Outgoing
from reminders.transports.smtp import MailServer, SmtpTransport
from taping.models import Application, StripEvent
from taping.services.strip_events import StripHappening, strip_event_record
from tests.factories import (
    ApplicationFactory,
    MessageFactory,
    PatientFactory,
    ScreenFactory,
    StripFactory,
    VisitFactory,
)
from tests.reminders.services.conftest import Recorder
from tests.reminders.transports.conftest import Mailbox, mail_server, mailbox

__all__ = ["mail_server", "mailbox"]

pytestmark = pytest.mark.django_db


def saying(
    clinic: Clinic, now: datetime, *, kind: str = "removal_day", signs: tuple[str, ...] = (), **values: object
) -> Saying:
    row = MessageFactory(kind=kind, application=ApplicationFactory(**values), planned_for=now)
    return Saying(row, (), row.patient, clinic, now, signs)


def shown(words: Words) -> list[str]:
    return findall(r'src="cid:([^"]+)"', words.html)


@pytest.mark.parametrize("kind", ["removal_day", "removal_overdue"])
@pytest.mark.parametrize("removal", ["home", "helper"])
def test_the_mail_with_the_steps_shows_each_picture_with_its_words(
    clinic: Clinic, now: datetime, kind: str, removal: str
) -> None:
    said = saying(clinic, now, kind=kind, removal=removal)
    words = render(said, "email")
    assert shown(words) == [image.cid for image in words.images]
    assert [cid.partition(".")[0] for cid in shown(words)] == ["knee-left-1", "knee-left-2", "knee-left-3"]
    assert 'alt="Left knee, from the front. The end of the tape nearer the thigh is marked: start."' in words.html
    assert "Start at the end nearer your thigh." in words.html
    assert words.html.index("Sit down") < words.html.index("cid:") < words.html.index("Questions?")


def test_strips_are_shown_from_the_top_and_tapes_by_their_place(clinic: Clinic, now: datetime) -> None:
    said = saying(clinic, now)
    tape = said.applications[0]
    StripFactory(plan=tape.plan, position=1, place="patellar_tendon")
    StripFactory(plan=tape.plan, position=2)
    screen = ScreenFactory(patient=tape.patient, region="elbow", side="right")
    other = MessageFactory(application=ApplicationFactory(patient=tape.patient, plan__screen=screen), planned_for=now)
    words = render(Saying(said.row, (other,), said.recipient, clinic, now), "email")
    assert findall("<h2>([^<]+)</h2>", words.html) == [
        "Left knee: The strip on top", "Left knee: The strip beneath", "Right elbow",
    ]  # fmt: skip
    assert [cid.partition(".")[0] for cid in shown(words)] == [
        "knee-left-1", "knee-left-2", "knee-left-3", "patellar_tendon-left-1", "patellar_tendon-left-2",
        "elbow-right-1", "elbow-right-2", "elbow-right-3",
    ]  # fmt: skip


def test_over_raw_skin_or_where_the_clinic_takes_it_off_nothing_pulls(clinic: Clinic, now: datetime) -> None:
    visit: Visit = VisitFactory(purpose="removal")
    for said in (
        saying(clinic, now, signs=("blister",)),
        saying(clinic, now, removal="clinic"),
        saying(clinic, now, removal="home", removal_visit=visit),
        saying(clinic, now, kind="removal_overdue", removal="clinic"),
    ):
        words = render(said, "email")
        assert (shown(words), words.images) == ([], ())


@pytest.mark.parametrize("kind", ["aftercare", "removal_eve", "skin_check"])
def test_mails_without_the_steps_carry_no_picture(clinic: Clinic, now: datetime, kind: str) -> None:
    words = render(saying(clinic, now, kind=kind), "email")
    assert (shown(words), words.images) == ([], ())


def test_a_text_message_looks_for_no_picture(clinic: Clinic, now: datetime) -> None:
    said = saying(clinic, now)
    with CaptureQueriesContext(connection) as queries:
        assert render(said, "sms").images == ()
    assert [one for one in queries.captured_queries if "taping_strip" in one["sql"]] == []


def test_strips_cost_no_further_queries(clinic: Clinic, now: datetime) -> None:
    said = saying(clinic, now)
    plan = said.applications[0].plan
    counts = []
    for position in range(1, 31):
        StripFactory(plan=plan, position=position)
        with CaptureQueriesContext(connection) as queries:
            mail_pictures(said)
        counts.append(len(queries))
    assert (counts[0], counts[-1]) == (1, 1)


def test_each_mail_of_a_batch_shows_its_own_tapes_strips(clinic: Clinic, now: datetime) -> None:
    """At nine o'clock a hundred mails are claimed together."""
    places = ["", "patellar_tendon", "", "patellar_tendon"]
    rows = []
    for number, place in enumerate(places):
        patient = PatientFactory(email=f"ada{number}@example.org", prefers="email", phone="")
        rows.append(MessageFactory(application=ApplicationFactory(patient=patient), planned_for=now))
        StripFactory(plan=rows[-1].application.plan, position=1, place=place)
    for model in (Application, Patient, Clinic):
        model.objects.update(planned_version=F("plan_version"))
    by_mail = Recorder()
    run_due(lambda: now, transports={"sms": Recorder(), "email": by_mail})
    shown = {one.key: one.images[0].cid.partition(".")[0] for one in by_mail.sent}
    assert [shown[row.key] for row in rows] == [f"{place or 'knee'}-left-1" for place in places]


def test_a_strip_that_comes_off_while_a_batch_goes_is_not_shown(clinic: Clinic, now: datetime) -> None:
    """Both mails are claimed together; before the second goes, its upper strip is reported off."""
    tapes = []
    for number in (1, 2):
        patient = PatientFactory(email=f"ada{number}@example.org", prefers="email", phone="")
        tape = ApplicationFactory(patient=patient, applied_at=now - timedelta(days=5), saved_at=now - timedelta(days=5))
        MessageFactory(application=tape, subject=f"application:{tape.pk}", planned_for=now)
        StripFactory(plan=tape.plan, position=1)
        StripFactory(plan=tape.plan, position=2, place="patellar_tendon")
        tapes.append(tape)
    for model in (Application, Patient, Clinic):
        model.objects.update(planned_version=F("plan_version"))
    happening = StripHappening(StripEvent.What.STRIP_OFF, now, 2, by="patient")
    off: list[StripEvent] = []

    def one_off(outgoing: Outgoing) -> None:
        if not off:
            off.append(strip_event_record(actor=Actor(word="test"), now=now, application=tapes[1], happening=happening))

    by_mail = Recorder(on_send=one_off)
    run_due(lambda: now, transports={"sms": Recorder(), "email": by_mail})
    shown = {one.to: {image.cid.partition("-")[0] for image in one.images} for one in by_mail.sent}
    assert shown == {"ada1@example.org": {"knee", "patellar_tendon"}, "ada2@example.org": {"knee"}}


def test_it_arrives_as_one_page_with_its_pictures_and_the_calendar_beside(
    clinic: Clinic, now: datetime, mail_server: Callable[..., int], mailbox: Mailbox
) -> None:
    """RFC 2387 and 2392: the pictures are related to the HTML and named by it; nothing is fetched from anywhere."""
    patient = PatientFactory(full_name="Ada Quillfeather", email="ada@example.org", prefers="email", phone="")
    tape = ApplicationFactory(patient=patient)
    links_keep(application=tape, zone=clinic.zone)
    for model in (Application, Patient, Clinic):
        model.objects.update(planned_version=1)
    MessageFactory(application=tape, channel="email", planned_for=now)
    by_mail = SmtpTransport(MailServer("127.0.0.1", mail_server(), "plain"), own_settings.SENDER_ADDRESS, timeout=5)
    run_due(lambda: now, transports={"sms": Recorder(), "email": by_mail})
    (mail,) = mailbox.mails
    types = [part.get_content_type() for part in mail.walk()]
    assert types == [
        "multipart/mixed", "multipart/alternative", "text/plain", "multipart/related", "text/html",
        "image/png", "image/png", "image/png", "text/calendar",
    ]  # fmt: skip
    html = mail.get_body(("html",))
    assert isinstance(html, EmailMessage)
    named = findall(r'src="([^"]+)"', html.get_content())
    pictures = [part for part in mail.walk() if part.get_content_type() == "image/png"]
    assert [f"cid:{part['Content-ID'].strip('<>')}" for part in pictures] == named
    assert [part.get_content_disposition() for part in pictures] == ["inline"] * 3
    for part in pictures:
        content = part.get_payload(decode=True)
        assert isinstance(content, bytes)
        Image.open(BytesIO(content)).verify()
    token = link_token(tape)
    assert [name for name in named if token in name or "Quill" in name] == []
    assert Message.objects.get().state == "sent"


def test_the_long_address_breaks_on_a_narrow_telephone(clinic: Clinic, now: datetime) -> None:
    """A token of 43 letters has no place to break at, and would push every line of the mail out of sight."""
    words = render(saying(clinic, now), "email")
    links = findall(r"<a [^>]*>", words.html)
    assert ["word-break: break-all" in link for link in links] == [True, True]
