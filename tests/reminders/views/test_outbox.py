"""The messages page."""

from collections.abc import Callable
from copy import copy
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client

from clinic.models import Clinic, User
from clinic.selectors import clinic_get
from reminders.models import CallItem, Message
from reminders.selectors.outbox import Filters, _filtered
from reminders.views import signs
from tests.factories import CallItemFactory, MessageFactory
from tests.factories.clinic import NOW

SignedIn = Callable[..., tuple[Client, User]]
Text = Callable[[str], str]


def shown(page: str) -> list[int]:
    return [int(part.partition('"')[0]) for part in page.split('<tr id="message-')[1:]]


def test_what_needs_a_person_comes_first_the_gravest_above(signed_in: SignedIn, clinic: Clinic, text_of: Text) -> None:
    signed_in("desk")
    keys = {state: MessageFactory(state=state).pk for state in Message.State.values}
    assert shown(text_of("/messages/")) == [keys["failed"], keys["uncertain"], keys["missed"]]


@pytest.mark.parametrize(
    ("show", "states"),
    [("next", ["planned", "claimed", "sending"]), ("went", ["sent"]), ("dropped", ["dropped"])],
)
def test_each_list_holds_its_states(
    signed_in: SignedIn, clinic: Clinic, text_of: Text, show: str, states: list[str]
) -> None:
    signed_in("desk")
    keys = {state: MessageFactory(state=state).pk for state in Message.State.values}
    assert sorted(shown(text_of(f"/messages/?show={show}"))) == sorted(keys[state] for state in states)


def test_what_goes_next_is_in_the_order_of_its_time(signed_in: SignedIn, clinic: Clinic, text_of: Text) -> None:
    signed_in("desk")
    later, sooner = (MessageFactory(planned_for=NOW + timedelta(hours=hours)).pk for hours in (5, 2))
    assert shown(text_of("/messages/?show=next")) == [sooner, later]


def test_the_stored_text_is_shown_with_its_masked_link(signed_in: SignedIn, clinic: Clinic, text_of: Text) -> None:
    signed_in("desk")
    MessageFactory(state="sent", text="Your tape comes off today: [link]")
    assert "Your tape comes off today: [link]" in text_of("/messages/?show=went")


def test_seventy_messages_make_three_pages_without_gap_or_double(
    signed_in: SignedIn, clinic: Clinic, text_of: Text
) -> None:
    signed_in("desk")
    keys = [MessageFactory(state="sent").pk for _ in range(70)]
    pages = [shown(text_of(f"/messages/?show=went&page={number}")) for number in (1, 2, 3)]
    assert [len(page) for page in pages] == [30, 30, 10]
    assert sorted(key for page in pages for key in page) == keys


def test_what_needs_a_person_is_leafed_through_state_after_state(
    signed_in: SignedIn, clinic: Clinic, text_of: Text
) -> None:
    signed_in("desk")
    missed = [MessageFactory(state="missed").pk for _ in range(10)]
    failed = [MessageFactory(state="failed").pk for _ in range(25)]
    uncertain = [MessageFactory(state="uncertain").pk for _ in range(10)]
    first, second = (shown(text_of(f"/messages/?show=needs&page={number}")) for number in (1, 2))
    assert (set(first[:25]), set(first[25:]) <= set(uncertain)) == (set(failed), True)
    assert (set(second[:5]) < set(uncertain), set(second[5:])) == (True, set(missed))
    assert sorted(first + second) == sorted(missed + failed + uncertain)


def test_nobody_leafs_for_ever(
    signed_in: SignedIn, clinic: Clinic, text_of: Text, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The last page that is shown says how older messages are found."""
    signed_in("desk")
    for name in ("selectors", "views"):
        monkeypatch.setattr(f"reminders.{name}.outbox.MOST_PAGES", 2)
    for _ in range(70):
        MessageFactory(state="sent")
    first, last, beyond = (text_of(f"/messages/?show=went&page={number}") for number in (1, 2, 3))
    assert ("The list ends here." in first, 'rel="next"' in first) == (False, True)
    assert ("The list ends here. Older messages are" in last, 'rel="next"' in last) == (True, False)
    assert shown(beyond) == shown(last)


class TestIndexes:
    """A list of a million is read from an index, however late the page and however rare the kind."""

    @pytest.fixture(autouse=True)
    def no_reading_whole(self, clinic: Clinic) -> None:
        with connection.cursor() as cursor:
            if connection.vendor == "postgresql":  # a table of a few rows is quicker read whole
                cursor.execute("SET LOCAL enable_seqscan = off")
                cursor.execute("SET LOCAL enable_bitmapscan = off")

    def plan(self, **wanted: Any) -> str:
        rows = _filtered(Message.objects.filter(state="sent"), Filters(zone=clinic_get().zone, **wanted))
        return rows.order_by("-planned_for", "-id").values_list("pk")[29_970:30_001].explain()

    def test_a_late_page(self) -> None:
        found = self.plan()
        assert "message_page" in found
        assert ("Index Only Scan" if connection.vendor == "postgresql" else "COVERING INDEX") in found
        assert "sort" not in found.lower()

    @pytest.mark.skipif(connection.vendor != "postgresql", reason="the index is PostgreSQL's")
    @pytest.mark.parametrize(
        ("wanted", "index"),
        [({"kind": "visit_cancelled"}, "message_of_a_kind"), ({"channel": "sms"}, "message_by_channel")],
    )
    def test_a_rare_kind_or_channel(self, wanted: dict[str, str], index: str) -> None:
        rows: list[Message] = []
        row = MessageFactory(kind="removal_day", state="sent", channel="email")
        for number in range(3000):
            row.pk, row.subject, row._state.adding = None, f"visit:{number}", True
            rows.append(copy(row))
        Message.objects.bulk_create(rows)
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE reminders_message")
        found = self.plan(**wanted)
        assert index in found
        assert "sort" not in found.lower()


@pytest.mark.parametrize(
    "query", ["show=nonsense", "page=-1", "page=x", "page=0", "show=next&page=99999999999999", "page=²"]
)
def test_a_nonsense_address_still_opens_a_page(signed_in: SignedIn, clinic: Clinic, text_of: Text, query: str) -> None:
    signed_in("desk")
    assert "<h1>Messages</h1>" in text_of(f"/messages/?{query}")


@pytest.mark.parametrize("state", ["failed", "uncertain"])
def test_sending_again_plans_it_for_now_with_the_same_key_and_closes_its_call(
    signed_in: SignedIn, clinic: Clinic, state: str
) -> None:
    client, user = signed_in("desk")
    message: Message = MessageFactory(state=state, planned_for=NOW - timedelta(hours=1), claims=3)
    key = message.key
    item: CallItem = CallItemFactory(application=message.application, message=message, reason="undelivered")
    assert client.post(f"/messages/{message.pk}/again/").status_code == 302
    message.refresh_from_db()
    item.refresh_from_db()
    assert (message.state, message.wake_at, message.key, message.claims) == ("planned", NOW, key, 0)
    assert (item.closed_at, item.closed_by) == (NOW, user)


@pytest.mark.parametrize("state", ["planned", "claimed", "sending", "sent", "dropped", "missed"])
def test_nothing_else_can_be_sent_again(signed_in: SignedIn, clinic: Clinic, state: str) -> None:
    client, _ = signed_in("desk")
    message = MessageFactory(state=state)
    page = client.post(f"/messages/{message.pk}/again/", follow=True).content.decode()
    message.refresh_from_db()
    assert message.state == state
    assert "Only one that needs a person goes again." in page


def test_a_message_that_is_of_no_use_any_more_says_to_call(signed_in: SignedIn, clinic: Clinic) -> None:
    client, _ = signed_in("desk")
    message = MessageFactory(state="failed", planned_for=NOW - timedelta(hours=4))
    assert "Send again" not in client.get("/messages/").content.decode()
    page = client.post(f"/messages/{message.pk}/again/", follow=True).content.decode()
    assert "It is too late for this message: call the patient instead." in page


def test_an_empty_list_says_why(signed_in: SignedIn, clinic: Clinic, text_of: Text) -> None:
    signed_in("desk")
    assert "Nothing needs you here." in text_of("/messages/")


@pytest.mark.parametrize("show", ["needs", "next", "went", "dropped"])
def test_one_row_and_thirty_take_the_same_few_queries(
    signed_in: SignedIn, clinic: Clinic, queries_of: Callable[[str], int], show: str
) -> None:
    signed_in("desk")
    state = {"needs": "failed", "next": "planned", "went": "sent", "dropped": "dropped"}[show]
    MessageFactory(state=state)
    few = queries_of(f"/messages/?show={show}")
    for _ in range(29):
        MessageFactory(state=state)
    assert queries_of(f"/messages/?show={show}") == few
    assert few <= 15


class TestFilters:
    @pytest.fixture
    def desk(self, signed_in: SignedIn, clinic: Clinic) -> None:
        signed_in("desk")

    def test_by_each_filter(self, desk: None, text_of: Text) -> None:
        wanted = MessageFactory(
            state="failed", kind="skin_check", channel="email", planned_for=NOW - timedelta(days=2),
            application__patient__full_name="Orla Brightwater",
        )  # fmt: skip
        MessageFactory(state="uncertain", kind="removal_day", channel="sms")
        for query in ("state=failed", "kind=skin_check", "channel=email", "patient=bright", "day=2027-03-08"):
            assert shown(text_of(f"/messages/?{query}")) == [wanted.pk], query
        everything = "state=failed&kind=skin_check&channel=email&patient=bright&day=2027-03-08"
        assert shown(text_of(f"/messages/?{everything}")) == [wanted.pk]
        assert shown(text_of(f"/messages/?{everything}&kind=removal_day")) == []

    def test_a_day_is_the_clinics_own(self, desk: None, text_of: Text) -> None:
        late = datetime(2027, 3, 10, 4, 59, tzinfo=UTC)  # 23:59 of the 9th in New York
        key = MessageFactory(state="failed", planned_for=late).pk
        assert shown(text_of("/messages/?day=2027-03-09")) == [key]
        assert shown(text_of("/messages/?day=2027-03-10")) == []

    def test_lists_and_pages_keep_them_in_the_address(self, desk: None, text_of: Text) -> None:
        for _ in range(31):
            MessageFactory(state="sent", channel="sms")
        page = text_of("/messages/?show=went&channel=sms&patient=quill+a%26b")
        assert "?show=next&amp;channel=sms&amp;patient=quill+a%26b" in page
        page = text_of("/messages/?show=went&channel=sms&patient=quill")
        assert "?page=2&amp;show=went&amp;channel=sms&amp;patient=quill" in page
        assert len(shown(text_of("/messages/?page=2&show=went&channel=sms&patient=quill"))) == 1

    @pytest.mark.parametrize("query", ["state=sent", "kind=x", "channel=fax", "day=10.3.2027", "patient=%00"])
    def test_what_makes_no_sense_is_said_or_left_out(self, desk: None, text_of: Text, query: str) -> None:
        key = MessageFactory(state="failed").pk
        assert shown(text_of(f"/messages/?{query}")) == [key]

    def test_when_none_fits_it_says_what_to_do(self, desk: None, text_of: Text) -> None:
        MessageFactory(state="failed")
        assert "No message in this list fits." in text_of("/messages/?patient=nobody")
        assert "There is no page 7 of this list." in text_of("/messages/?page=7")

    def test_sending_again_leads_back_to_the_same_list(self, desk: None, client: Client) -> None:
        message = MessageFactory(state="failed")
        here = "/messages/?state=failed&channel="
        assert f'value="{here.replace("&", "&amp;")}"' in client.get(here).content.decode()
        assert client.post(f"/messages/{message.pk}/again/", {"next": here}).headers["Location"] == here

    def test_one_row_and_thirty_with_every_filter_take_the_same_few_queries(
        self, desk: None, queries_of: Callable[[str], int]
    ) -> None:
        address = "/messages/?state=failed&kind=removal_day&patient=quill&day=2027-03-10"
        MessageFactory(state="failed", receipt="undelivered", receipt_at=NOW)
        few = queries_of(address)
        for _ in range(29):
            MessageFactory(state="failed", receipt="undelivered", receipt_at=NOW)
        assert queries_of(address) == few
        assert few <= 15


@pytest.mark.parametrize(
    ("receipt", "words"),
    [("delivered", "arrived, "), ("delayed", "the other side is still trying, "), ("undelivered", "did not arrive, ")],
)
def test_what_the_other_side_told_stands_beside_the_state(
    signed_in: SignedIn, clinic: Clinic, text_of: Text, receipt: str, words: str
) -> None:
    signed_in("desk")
    MessageFactory(state="sent", receipt=receipt, receipt_at=NOW)
    page = text_of("/messages/?show=went")
    assert f'<span class="hint">{words}' in page


def test_every_state_is_explained(signed_in: SignedIn, clinic: Clinic, text_of: Text) -> None:
    signed_in("desk")
    assert set(signs.MESSAGE_MEANS) == set(Message.State)
    MessageFactory(state="uncertain")
    assert signs.MESSAGE_MEANS["uncertain"] in text_of("/messages/")


def test_the_texts_are_shown_with_their_segments(signed_in: SignedIn, clinic: Clinic, text_of: Text) -> None:
    signed_in("desk")
    page = text_of("/messages/texts/")
    assert page.count("of the plain alphabet (GSM-7)") == 12
    assert "Harbour Lane Clinic" in page
    assert "/t/" not in page
