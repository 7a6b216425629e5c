"""The webhook: who may speak, what is refused and how, and what replies, receipts and bounces do."""

import json
import logging
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.db.models import F
from django.http import HttpResponse
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver
from pytest_django import Settings

from clinic.models import Clinic, Event, Patient
from reminders.models import CallItem, Message, Notice, RefusedAddress
from reminders.rules.signature import signature_of
from reminders.services.call_tick import call_list_tick
from reminders.services.receipts import receipts_settle
from reminders.services.running import run_due
from reminders.transports import Outgoing, Transport
from taping.models import Application
from tests.factories import ApplicationFactory, HelperFactory, MessageFactory, PatientFactory
from tests.factories.clinic import NOW

KEY = "a webhook key of the tests, long enough to be one"
NUMBER = "+12125550123"
KEY_OF_NONE = "12345678123442348234123456789abc"
Post = Callable[..., HttpResponse]


@pytest.fixture(autouse=True)
def hook_key(settings: Settings) -> None:
    settings.HOOK_KEY = KEY


@pytest.fixture
def post() -> Post:
    """post("reply", {...}) signs and sends; body, at, signature and key may be given instead."""

    def send(
        what: str, values: dict[str, Any] | None = None, *, body: bytes | None = None, at: datetime = NOW, **given: str
    ) -> Any:
        content = json.dumps(values).encode() if body is None else body
        seconds = str(int(at.timestamp()))
        signature = given.get("signature", signature_of(given.get("key", KEY), seconds, content))
        client = Client(enforce_csrf_checks=True)
        headers = {"Wearwindow-Time": seconds, "Wearwindow-Signature": signature}
        return client.post(f"/hooks/{what}/", content, content_type="application/json", headers=headers)

    return send


def reply(text: str = "STOP", number: str = NUMBER, name: str = "e-1") -> dict[str, Any]:
    return {"id": name, "from": number, "text": text}


def receipt(message: Message, state: str = "delivered", name: str = "r-1", **more: Any) -> dict[str, Any]:
    return {"id": name, "message": str(message.key), "state": state, **more}


def bounce(message: Message, kind: str = "hard", name: str = "b-1", **more: Any) -> dict[str, Any]:
    return {"id": name, "message": f"<{message.key.hex}@example.org>", "kind": kind, **more}


def sent(application: Application, channel: str = "sms", **changes: Any) -> Message:
    address = application.patient.phone if channel == "sms" else application.patient.email
    values: dict[str, Any] = {"state": "sent", "channel": channel, "address": address, "attempts": 1, "settled_at": NOW}
    message: Message = MessageFactory(application=application, **(values | changes))
    return message


def second(tape: Application) -> Application:
    made: Application = ApplicationFactory(patient=tape.patient, region="elbow")
    return made


def world() -> tuple[Any, ...]:
    """Everything a refused notice must leave as it was."""
    return (
        list(Patient.objects.order_by("pk").values()),
        list(Message.objects.order_by("pk").values()),
        list(Application.objects.order_by("pk").values()),
        CallItem.objects.count(),
        RefusedAddress.objects.count(),
        Notice.objects.count(),
        Event.objects.count(),
    )


class TestWhoMaySpeak:
    @pytest.mark.parametrize(
        ("given", "status"),
        [
            ({"signature": "0" * 64}, 401),
            ({"signature": ""}, 401),
            ({"key": "another key that is long enough to be one!"}, 401),
            ({"at": NOW - timedelta(minutes=5, seconds=1)}, 403),
            ({"at": NOW + timedelta(minutes=5, seconds=1)}, 403),
            ({"body": b"garbage"}, 400),
            ({"body": b'{"id": "e-1", "from": "+12125550123", "text": "STOP\\u0000"}'}, 400),
            ({"body": b"x" * (16 * 1024 + 1)}, 413),
            ({"body": b"x" * 1024 * 1024}, 413),
            ({"body": b"x" * 3 * 1024 * 1024}, 413),
        ],
        ids=["wrong", "none", "other key", "old", "ahead", "garbage", "NUL", "16 KB", "1 MB", "3 MB"],
    )
    @pytest.mark.parametrize("what", ["reply", "receipt", "bounce"])
    def test_each_refusal_has_its_status_and_changes_nothing(
        self, tape: Application, post: Post, what: str, given: dict[str, Any], status: int
    ) -> None:
        mail, text = sent(tape, channel="email"), sent(tape, ordinal=2)
        notice = {"reply": reply(), "receipt": receipt(text, "undelivered"), "bounce": bounce(mail)}[what]
        before = world()
        answer = post(what, notice, **given)
        assert (answer.status_code, list(json.loads(answer.content))) == (status, ["refused"])
        assert world() == before

    @pytest.mark.parametrize("what", ["reply", "receipt", "bounce"])
    def test_without_a_key_there_is_no_webhook(self, clinic: Clinic, post: Post, settings: Settings, what: str) -> None:
        settings.HOOK_KEY = ""
        assert post(what, reply(), key="").status_code == 404

    @pytest.mark.parametrize("what", ["nothing", "REPLY", "replies"])
    def test_an_unknown_webhook_is_not_found(self, clinic: Clinic, post: Post, what: str) -> None:
        assert post(what, reply()).status_code == 404

    def test_nothing_but_a_post_is_taken(self, clinic: Clinic, client: Client) -> None:
        assert [getattr(client, method)("/hooks/reply/").status_code for method in ("get", "put", "delete")] == [
            405
        ] * 3

    def test_a_post_from_a_page_has_no_signature(self, tape: Application, client: Client) -> None:
        assert client.post("/hooks/reply/", {"text": "STOP"}).status_code == 401

    def test_a_signed_reply_does_not_pass_for_a_receipt(self, tape: Application, post: Post) -> None:
        assert post("receipt", reply()).status_code == 400

    def test_only_the_webhook_and_the_one_click_address_are_free_of_the_forms_token(self) -> None:
        exempt = {name for name, view in views() if getattr(view, "csrf_exempt", False)}
        assert exempt == {"hook", "stop_page"}

    def test_nothing_of_a_notice_reaches_the_log(
        self, tape: Application, post: Post, caplog: pytest.LogCaptureFixture
    ) -> None:
        caplog.set_level(logging.DEBUG)
        post("reply", reply("my secret rash", "+12125550199", "e-secret"))
        post("reply", reply("my secret rash", NUMBER, "e-secret"), signature="5ecret")
        post("reply", reply("my secret rash", "+12125550188x", "e-secret"))
        post("receipt", {"id": "r", "message": "m-secret", "state": "undelivered", "why": "secret"})
        said = caplog.text
        assert said.count("A webhook was refused") == 2
        assert [word for word in ("secret", "5550199", "5550188", "5550123", KEY) if word in said] == []


def views() -> list[tuple[str, Any]]:
    def walk(patterns: list[Any]) -> list[tuple[str, Any]]:
        found: list[tuple[str, Any]] = []
        for pattern in patterns:
            if isinstance(pattern, URLResolver):
                found += walk(pattern.url_patterns)
            elif isinstance(pattern, URLPattern):
                found.append((str(pattern.name), pattern.callback))
        return found

    return walk(get_resolver().url_patterns)


class TestReplies:
    @pytest.mark.parametrize("words", ["stop", " STOP ", "Stop.", "ARRÊT", "Stop please, thanks"])
    def test_stop_withdraws_consent_for_everybody_at_the_number(
        self, tape: Application, post: Post, words: str
    ) -> None:
        other = PatientFactory(phone=NUMBER)
        assert json.loads(post("reply", reply(words)).content) == {"result": "done"}
        assert list(Patient.objects.filter(pk__in=[tape.patient_id, other.pk]).values_list("consents", flat=True)) == [
            False, False,
        ]  # fmt: skip

    def test_start_gives_it_back(self, tape: Application, post: Post) -> None:
        post("reply", reply("STOP", name="e-1"))
        post("reply", reply("START", name="e-2"))
        assert Patient.objects.get(pk=tape.patient_id).consents

    def test_off_ends_the_one_tape_at_the_number(self, tape: Application, post: Post) -> None:
        post("reply", reply("Off."))
        tape.refresh_from_db()
        assert (tape.ended_at, tape.ended_how) == (NOW, "off")

    def test_off_with_two_tapes_is_for_a_person(self, tape: Application, post: Post) -> None:
        second(tape)
        post("reply", reply("OFF"))
        assert not Application.objects.exclude(ended_at=None).exists()
        assert list(CallItem.objects.values_list("reason", "words")) == [("reply", "OFF")]

    def test_other_words_are_on_the_call_list_as_they_are(self, tape: Application, post: Post) -> None:
        post("reply", reply("please stop the pain"))
        assert Patient.objects.get(pk=tape.patient_id).consents
        assert list(CallItem.objects.values_list("reason", "words")) == [("reply", "please stop the pain")]

    def test_a_number_nobody_has_is_said_and_changes_nothing(self, tape: Application, post: Post) -> None:
        before = world()
        answer = post("reply", reply("STOP", "+12125550199"))
        assert (answer.status_code, json.loads(answer.content)) == (202, {"result": "unknown"})
        assert world()[:5] == before[:5]

    def test_the_same_notice_again_does_nothing(self, tape: Application, post: Post) -> None:
        first, second = (post("reply", reply("it itches")) for _ in range(2))
        assert (first.status_code, second.status_code) == (200, 200)
        assert json.loads(second.content) == {"result": "seen before"}
        assert CallItem.objects.get().words == "it itches"

    def test_a_recorded_stop_played_again_after_start_does_not_stop(self, tape: Application, post: Post) -> None:
        post("reply", reply("STOP", name="e-1"))
        post("reply", reply("START", name="e-2"))
        post("reply", reply("STOP", name="e-1"))
        assert Patient.objects.get(pk=tape.patient_id).consents

    def test_a_helper_who_gets_the_messages_may_stop_them(self, tape: Application, post: Post) -> None:
        HelperFactory(patient=tape.patient, gets_messages=True, phone="+12125550177")
        post("reply", reply("STOP", "+12125550177"))
        assert not Patient.objects.get(pk=tape.patient_id).consents

    def test_what_failed_half_way_is_taken_anew(
        self, tape: Application, post: Post, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def broken(**kwargs: object) -> None:
            raise RuntimeError

        with monkeypatch.context() as patched:
            patched.setattr("reminders.services.notices.reply_receive", broken)
            with pytest.raises(RuntimeError):
                post("reply", reply("it itches"))
        assert json.loads(post("reply", reply("it itches")).content) == {"result": "done"}

    def test_old_ids_are_forgotten(self, tape: Application, post: Post, frozen: time_machine.Traveller) -> None:
        post("reply", reply("one", name="e-1"))
        frozen.move_to(NOW + timedelta(days=31))
        post("reply", reply("two", name="e-2"), at=NOW + timedelta(days=31))
        assert list(Notice.objects.values_list("notice_id", flat=True)) == ["e-2"]


class TestReceipts:
    def test_a_text_that_arrived_says_so(self, tape: Application, post: Post) -> None:
        message = sent(tape)
        assert post("receipt", receipt(message)).status_code == 200
        message.refresh_from_db()
        assert (message.state, message.receipt, message.receipt_at) == ("sent", "delivered", NOW)

    def test_a_message_is_known_by_the_gateways_own_id(self, tape: Application, post: Post) -> None:
        message = sent(tape, gateway_id="gw-77")
        post("receipt", {"id": "r", "message": "gw-77", "state": "delivered"})
        message.refresh_from_db()
        assert message.receipt == "delivered"

    def test_nobody_need_be_called_about_one_that_arrived_after_all(self, tape: Application, post: Post) -> None:
        message = sent(tape, state="uncertain", repeats=1, settled_at=NOW - timedelta(minutes=5))
        call_list_tick(NOW)
        assert CallItem.objects.get().reason == "uncertain"
        post("receipt", receipt(message))
        call_list_tick(NOW)
        message.refresh_from_db()
        assert (message.state, CallItem.objects.filter(closed_at=None).count()) == ("sent", 0)

    def test_one_that_did_not_arrive_goes_by_mail(self, tape: Application, post: Post) -> None:
        message = sent(tape)
        post("receipt", receipt(message, "undelivered", why="line is dead"))
        message.refresh_from_db()
        assert (message.state, message.refused_on, message.wake_at, message.receipt) == (
            "planned", "sms", NOW, "undelivered",
        )  # fmt: skip
        assert not RefusedAddress.objects.exists()
        for model in (Application, Patient, Clinic):  # as if planned already: this row alone is to go
            model._default_manager.update(planned_version=F("plan_version"))
        sms, mail = Silent(), Silent()
        run_due(lambda: NOW, transports={"sms": sms, "email": mail})
        assert ([one.to for one in sms.sent], [one.to for one in mail.sent]) == ([], [tape.patient.email])

    def test_without_another_channel_somebody_calls(self, tape: Application, post: Post) -> None:
        Patient.objects.update(email="")
        message = sent(tape)
        post("receipt", receipt(message, "undelivered", why="line of +12125550123 is dead"))
        call_list_tick(NOW)
        message.refresh_from_db()
        assert (message.state, message.why) == ("failed", "line of [number …23] is dead")
        assert list(CallItem.objects.values_list("reason", "message")) == [("undelivered", message.pk)]

    def test_one_that_is_of_no_use_any_more_does_not_go_again(self, tape: Application, post: Post) -> None:
        message = sent(tape, planned_for=NOW - timedelta(hours=5))
        post("receipt", receipt(message, "undelivered"))
        message.refresh_from_db()
        assert message.state == "failed"

    def test_a_number_that_is_at_fault_for_good_is_flagged(self, tape: Application, post: Post) -> None:
        post("receipt", receipt(sent(tape), "undelivered", for_good=True))
        assert list(RefusedAddress.objects.values_list("channel", "address")) == [("sms", tape.patient.phone)]

    def test_messages_said_together_are_lost_together(self, tape: Application, post: Post) -> None:
        lead = sent(tape)
        other = sent(second(tape), joined_to=lead)
        post("receipt", receipt(lead, "undelivered"))
        assert list(Message.objects.filter(pk__in=[lead.pk, other.pk]).values_list("state", "joined_to")) == [
            ("planned", None), ("planned", None),
        ]  # fmt: skip

    def test_a_receipt_that_is_quicker_than_the_mark_waits_for_it(self, tape: Application, post: Post) -> None:
        message = sent(tape, state="sending", lease_until=NOW + timedelta(seconds=50))
        assert post("receipt", receipt(message, "undelivered")).status_code == 202
        receipts_settle(NOW)
        message.refresh_from_db()
        assert (message.state, message.receipt) == ("sending", "")
        Message.objects.filter(pk=message.pk).update(state="sent")
        assert receipts_settle(NOW) == 1
        message.refresh_from_db()
        assert (message.state, message.receipt) == ("planned", "undelivered")

    def test_a_receipt_by_an_id_that_is_not_stored_yet_waits_too(self, tape: Application, post: Post) -> None:
        message = sent(tape, state="sending", lease_until=NOW + timedelta(seconds=50))
        assert post("receipt", {"id": "r", "message": "gw-9", "state": "delivered"}).status_code == 202
        Message.objects.filter(pk=message.pk).update(state="sent", gateway_id="gw-9")
        receipts_settle(NOW)
        message.refresh_from_db()
        assert message.receipt == "delivered"

    def test_a_pass_of_the_engine_settles_it_before_it_sends_once_more(self, tape: Application, post: Post) -> None:
        message = sent(tape, state="sending", lease_until=NOW - timedelta(seconds=1))
        post("receipt", receipt(message))
        sms = Silent()
        run_due(lambda: NOW, transports={"sms": sms, "email": sms})
        message.refresh_from_db()
        assert (message.state, [one.key for one in sms.sent if one.key == message.key]) == ("sent", [])

    @pytest.mark.parametrize(
        ("what", "news"),
        [
            ("receipt", {"message": "gw-0", "state": "undelivered"}),
            ("receipt", {"message": KEY_OF_NONE, "state": "undelivered"}),
            ("bounce", {"message": f"<{KEY_OF_NONE}@example.org>", "kind": "hard"}),
        ],
    )
    def test_news_of_a_message_nobody_knows_is_kept_an_hour_and_changes_nothing(
        self, tape: Application, post: Post, what: str, news: dict[str, Any]
    ) -> None:
        message = sent(tape)
        answer = post(what, {"id": "r", **news})
        assert (answer.status_code, json.loads(answer.content)) == (202, {"result": "unknown"})
        assert [receipts_settle(NOW + timedelta(minutes=minutes)) for minutes in (59, 60, 61)] == [0, 1, 0]
        message.refresh_from_db()
        assert (message.state, message.receipt) == ("sent", "")

    def test_old_news_does_not_reach_a_later_attempt(self, tape: Application, post: Post) -> None:
        message = sent(tape, state="sending", lease_until=NOW + timedelta(seconds=50))
        post("receipt", receipt(message, "undelivered"))
        Message.objects.filter(pk=message.pk).update(state="sent", settled_at=NOW + timedelta(minutes=30))
        receipts_settle(NOW + timedelta(minutes=31))
        message.refresh_from_db()
        assert (message.state, message.receipt) == ("sent", "")

    @pytest.mark.parametrize("state", ["planned", "dropped", "missed", "failed"])
    def test_news_of_one_that_is_planned_anew_or_given_up_changes_nothing(
        self, tape: Application, post: Post, state: str
    ) -> None:
        message = sent(tape, state=state, gateway_id="gw-5")
        post("receipt", {"id": "r", "message": "gw-5", "state": "undelivered"})
        message.refresh_from_db()
        assert (message.state, message.receipt) == (state, "")

    def test_a_receipt_is_about_texts_alone(self, tape: Application, post: Post) -> None:
        message = sent(tape, channel="email")
        assert post("receipt", receipt(message)).status_code == 202
        message.refresh_from_db()
        assert message.receipt == ""

    def test_who_has_stopped_gets_no_mail_instead(self, tape: Application, post: Post) -> None:
        message = sent(tape)
        Patient.objects.update(consents=False)
        post("receipt", receipt(message, "undelivered"))
        message.refresh_from_db()
        assert message.state == "failed"

    def test_a_known_message_is_found_by_an_index(self, tape: Application) -> None:
        keyed = Message.objects.filter(key=KEY_OF_NONE).exclude(channel="")
        named = Message.objects.filter(gateway_id="gw-77").exclude(gateway_id="")
        if connection.vendor == "postgresql":  # it would read a table of a few rows whole
            with connection.cursor() as cursor:
                cursor.execute("SET LOCAL enable_seqscan = off")
        assert ("message_key" in keyed.explain(), "message_gateway_id" in named.explain()) == (True, True)


class TestBounces:
    def test_the_same_hard_bounce_three_times_flags_once_and_calls_once(self, tape: Application, post: Post) -> None:
        Patient.objects.update(phone="")
        message = sent(tape, channel="email")
        for number in range(3):
            assert (
                post("bounce", bounce(message, name=f"b-{number}", why="550 5.1.1 <ada@example.org>")).status_code < 300
            )
            call_list_tick(NOW)
        flagged = RefusedAddress.objects.get()
        assert (flagged.channel, flagged.address, flagged.why) == ("email", tape.patient.email, "550 5.1.1 <[address]>")
        assert list(CallItem.objects.values_list("reason", flat=True)) == ["undelivered"]

    def test_the_other_channel_takes_over(self, tape: Application, post: Post) -> None:
        message = sent(tape, channel="email")
        post("bounce", bounce(message))
        message.refresh_from_db()
        assert (message.state, message.refused_on) == ("planned", "email")
        assert CallItem.objects.count() == 0

    def test_a_soft_bounce_is_noted_and_nothing_more(self, tape: Application, post: Post) -> None:
        message = sent(tape, channel="email")
        post("bounce", bounce(message, "soft"))
        message.refresh_from_db()
        assert (message.state, message.receipt, RefusedAddress.objects.count()) == ("sent", "delayed", 0)

    def test_a_soft_bounce_does_not_hide_what_is_known(self, tape: Application, post: Post) -> None:
        message = sent(tape, channel="email", receipt="delivered")
        post("bounce", bounce(message, "soft"))
        message.refresh_from_db()
        assert message.receipt == "delivered"


class Silent(Transport):
    """Takes everything and remembers it."""

    def __init__(self) -> None:
        self.sent: list[Outgoing] = []

    def send(self, outgoing: Outgoing) -> str:
        self.sent.append(outgoing)
        return "id"


def test_a_notice_in_the_clear_is_refused_and_not_led_on(post: Post, clinic: Clinic, settings: Settings) -> None:
    """A redirect would let a gateway send everything unencrypted first, each time, and nobody would notice."""
    settings.SECURE_SSL_REDIRECT = True
    patient = PatientFactory(phone=NUMBER)
    answer = post("reply", reply())
    assert (answer.status_code, "Location" in answer.headers) == (403, False)
    patient.refresh_from_db()
    assert patient.consents
