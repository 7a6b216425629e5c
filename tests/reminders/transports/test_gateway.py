"""The SMS gateway against a real HTTP server on this machine: what is asked, and what every answer means.

Status codes: RFC 9110 and RFC 6585; the bearer token: RFC 6750.
"""

import json
import socket
import threading
from http.server import BaseHTTPRequestHandler

import pytest

from reminders.transports import TransportError
from reminders.transports.gateway import Gateway, GatewayTransport
from tests.reminders.transports.conftest import KEY, Desk, outgoing


def transport(port: int, path: str = "/messages") -> GatewayTransport:
    return GatewayTransport(Gateway("http", "127.0.0.1", port, path, "s3cret"), timeout=0.5)


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
        way_out.send(outgoing())
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


@pytest.mark.parametrize("answer", [b"", b"<html>welcome</html>", b"{}", b"[1]", b"\xff\xfe", b"null"])
def test_a_good_status_without_an_id_leaves_it_unknown(gateway_port: int, desk: Desk, answer: bytes) -> None:
    desk.answers = [(200, answer)]
    unknown = fault(gateway_port)
    assert (unknown.code, unknown.handed_over) == (None, True)


def test_a_gateway_that_hangs_is_given_up_after_handing_over(gateway_port: int, desk: Desk) -> None:
    hold = threading.Event()
    desk.act = lambda handler: hold.wait(3)
    silent = fault(gateway_port)
    hold.set()
    assert (silent.code, silent.handed_over) == (None, True)


def test_a_gateway_that_drips_is_given_up(gateway_port: int, desk: Desk) -> None:
    hold = threading.Event()

    def drip(handler: BaseHTTPRequestHandler) -> None:
        handler.send_response(200)
        handler.send_header("Content-Length", "100000")
        handler.end_headers()
        for _ in range(40):
            if hold.wait(0.1):
                return
            handler.wfile.write(b" ")
            handler.wfile.flush()

    desk.act = drip
    silent = fault(gateway_port)
    hold.set()
    assert silent.handed_over


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
    assert [way_out.send(outgoing()), way_out.send(outgoing())] == ["m-1", "m-1"]
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
