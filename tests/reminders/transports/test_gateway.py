"""The SMS gateway against a real HTTP server on this machine: what is asked, and what every answer means.

Status codes: RFC 9110 and RFC 6585; the bearer token: RFC 6750.
"""

import json
import socket
import threading
import time
from datetime import timedelta
from email.message import Message
from http.server import BaseHTTPRequestHandler

import pytest

from reminders.transports import TransportError
from reminders.transports.gateway import Gateway, GatewayTransport, retry_after
from tests.reminders.transports.conftest import AT, KEY, Desk, outgoing


def transport(port: int, path: str = "/messages") -> GatewayTransport:
    return GatewayTransport(Gateway("http", "127.0.0.1", port, path, "s3cret"), timeout=0.5, longest=1.0)


def fault(port: int) -> TransportError:
    way_out = transport(port)
    with pytest.raises(TransportError) as raised:
        way_out.send(outgoing(to="+12125550123", text="Off today"))
    way_out.close()
    return raised.value


def test_what_is_asked_of_the_gateway(gateway_port: int, desk: Desk) -> None:
    way_out = transport(gateway_port, "/v1/messages?from=clinic")
    assert way_out.send(outgoing(to="+12125550123", text="Off today, señor")) == "m-1"
    way_out.close()
    headers, body = desk.requests[0]
    assert json.loads(body) == {"to": "+12125550123", "text": "Off today, señor"}
    assert (headers["Authorization"], headers["Idempotency-Key"]) == ("Bearer s3cret", str(KEY))
    assert (headers["Content-Type"], desk.path) == ("application/json", "/v1/messages?from=clinic")


def test_one_connection_serves_a_batch(gateway_port: int, desk: Desk) -> None:
    way_out = transport(gateway_port)
    for _ in range(4):
        way_out.send(outgoing(to="+12125550123"))
    way_out.close()
    assert (len(desk.requests), len(desk.connections)) == (4, 1)


@pytest.mark.parametrize(
    ("status", "about_number"),
    [(400, False), (401, False), (404, True), (410, True), (422, True), (429, False), (500, False), (302, False)],
)
def test_a_refusal_keeps_its_status(gateway_port: int, desk: Desk, status: int, about_number: bool) -> None:
    desk.answers = [(status, b"no: +12125550123")]
    refused = fault(gateway_port)
    assert (refused.code, refused.address_refused, refused.protocol) == (status, about_number, "http")
    assert "0123" not in str(refused)


@pytest.mark.parametrize(
    "answer",
    [
        b"",
        b"<html>welcome</html>",
        b"{}",
        b"[1]",
        b"\xff\xfe",
        b"null",
        b"[" * 60_000,
        b'{"id": null}',
        b'{"id": ""}',
        b'{"id": true}',
        b'{"id": {"id": 1}}',
        b'{"id": "\\ud800"}',
    ],
)
def test_a_good_status_without_an_id_leaves_it_unknown(gateway_port: int, desk: Desk, answer: bytes) -> None:
    desk.answers = [(200, answer)]
    unknown = fault(gateway_port)
    assert (unknown.code, unknown.handed_over) == (None, True)


@pytest.mark.parametrize(
    ("answer", "kept"),
    [(b'{"id": 77}', "77"), (b'{"id": "m\\u0000-\\ud8001"}', "m-1"), (b'{"id": "' + b"9" * 300 + b'"}', "9" * 120)],
)
def test_an_id_that_no_database_could_take_is_made_fit(gateway_port: int, desk: Desk, answer: bytes, kept: str) -> None:
    """Otherwise a message that went could not be marked, and would go again."""
    desk.answers = [(200, answer)]
    way_out = transport(gateway_port)
    assert way_out.send(outgoing(to="+12125550123")) == kept
    way_out.close()


@pytest.mark.parametrize(
    ("asked", "there", "seconds"),
    [
        ("120", "", 120),
        (" 0 ", "", 0),
        ("999999999999", "", 86_400),
        ("Wed, 10 Mar 2027 15:02:00 GMT", "", 120),
        ("Wed, 10 Mar 2027 15:02:00 GMT", "Wed, 10 Mar 2027 15:01:30 GMT", 30),
        ("Wed, 10 Mar 2027 14:00:00 GMT", "", 0),
        ("", "", None),
        ("-5", "", None),
        ("soon", "", None),
        ("12 minutes", "", None),
    ],
)
def test_how_long_it_asks_to_be_left_alone_against_rfc_9110(asked: str, there: str, seconds: int | None) -> None:
    """RFC 9110, 10.2.3: seconds, or a date on the other side's clock. This side's clock says 15:00:00."""
    headers = Message()
    headers["Retry-After"], headers["Date"] = asked, there
    found = retry_after(headers, AT)
    assert (found.total_seconds() if found is not None else None) == seconds


def test_a_refusal_carries_how_long_to_wait(gateway_port: int, desk: Desk) -> None:
    def busy(handler: BaseHTTPRequestHandler) -> None:
        handler.send_response(429)
        handler.send_header("Retry-After", "900")
        handler.send_header("Content-Length", "0")
        handler.end_headers()

    desk.act = busy
    refused = fault(gateway_port)
    assert (refused.code, refused.retry_after) == (429, timedelta(minutes=15))


def test_a_gateway_that_hangs_is_given_up_after_handing_over(gateway_port: int, desk: Desk) -> None:
    hold = threading.Event()
    desk.act = lambda handler: hold.wait(3)
    silent = fault(gateway_port)
    hold.set()
    assert (silent.code, silent.handed_over) == (None, True)


@pytest.mark.parametrize(
    "head", [b"HTTP/1.1 200 OK\r\nContent-Length: 100000\r\n\r\n", b"HTTP/1.1 200 OK\r\nX-Drip: ", b""]
)
def test_a_gateway_that_drips_is_given_up(gateway_port: int, desk: Desk, head: bytes) -> None:
    """In its body, its headers or its first line: each byte comes well within the limit for one."""
    hold = threading.Event()

    def drip(handler: BaseHTTPRequestHandler) -> None:
        handler.wfile.write(head)
        for _ in range(80):
            if hold.wait(0.1):
                return
            handler.wfile.write(b" ")
            handler.wfile.flush()

    desk.act = drip
    begun = time.monotonic()
    silent = fault(gateway_port)
    hold.set()
    assert (silent.code, silent.handed_over) == (None, True)
    assert time.monotonic() - begun < 4


def test_an_endless_answer_is_not_read_to_its_end(gateway_port: int, desk: Desk) -> None:
    desk.answers = [(200, b" " * 200_000)]
    assert fault(gateway_port).handed_over


def test_a_gateway_that_is_not_there_was_handed_nothing() -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    silent = fault(port)
    assert (silent.code, silent.handed_over) == (None, False)


def test_a_connection_the_gateway_closed_is_opened_anew(gateway_port: int, desk: Desk) -> None:
    def answer_and_close(handler: BaseHTTPRequestHandler) -> None:
        handler.send_response(200)
        handler.send_header("Connection", "close")
        handler.send_header("Content-Length", "13")
        handler.end_headers()
        handler.wfile.write(b'{"id": "m-1"}')

    desk.act = answer_and_close
    way_out = transport(gateway_port)
    assert [way_out.send(outgoing(to="+12125550123")), way_out.send(outgoing(to="+12125550123"))] == ["m-1", "m-1"]
    way_out.close()


@pytest.mark.parametrize(
    ("url", "gateway"),
    [
        ("https://g.example.org", Gateway("https", "g.example.org", None, "/", "t")),
        ("https://g.example.org:8443/a?b=c", Gateway("https", "g.example.org", 8443, "/a?b=c", "t")),
        ("http://127.0.0.1:99/x", Gateway("http", "127.0.0.1", 99, "/x", "t")),
    ],
)
def test_addresses_of_gateways(url: str, gateway: Gateway) -> None:
    assert Gateway.from_url(url, "t") == gateway


@pytest.mark.parametrize("url", ["http://g.example.org/", "ftp://g.example.org", "g.example.org", "https://"])
def test_addresses_that_leak_or_lead_nowhere_are_refused(url: str) -> None:
    with pytest.raises(ValueError, match="https"):
        Gateway.from_url(url, "t")


@pytest.mark.parametrize(
    "number", ["2125550123", "+0125550123", "12125550123", "+121255", "+1212555012a", "", "+" + "1" * 16]
)
def test_a_number_that_is_not_e_164_never_leaves(gateway_port: int, desk: Desk, number: str) -> None:
    """ITU-T E.164, 6.2: a plus sign here, a country code, fifteen digits at most."""
    way_out = transport(gateway_port)
    with pytest.raises(TransportError) as refused:
        way_out.send(outgoing(to=number))
    assert (refused.value.address_refused, refused.value.handed_over, desk.requests) == (True, False, [])


def test_the_sender_is_named_where_one_is_set(gateway_port: int, desk: Desk) -> None:
    way_out = GatewayTransport(Gateway("http", "127.0.0.1", gateway_port, "/", "t", "TAPECLINIC"), timeout=0.5)
    way_out.send(outgoing(to="+12125550123"))
    way_out.close()
    assert json.loads(desk.requests[0][1])["from"] == "TAPECLINIC"
