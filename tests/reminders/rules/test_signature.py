"""The webhook's signature: HMAC-SHA256, checked against another program, and the five minutes it is good for."""

import subprocess
from datetime import UTC, datetime, timedelta

import pytest

from reminders.rules.signature import WINDOW, Signed, signature_of, signed_by

KEY = "a key of the tests that is long enough to be one"
NOW = datetime(2027, 3, 10, 15, 0, tzinfo=UTC)
SECONDS = str(int(NOW.timestamp()))
BODY = b'{"id": "e-1"}'


def judged(seconds: str = SECONDS, body: bytes = BODY, signature: str | None = None, key: str = KEY) -> Signed:
    made = signature_of(KEY, seconds, body) if signature is None else signature
    return signed_by(key, seconds, body, made, now=NOW)


def test_the_signature_against_openssl() -> None:
    """OpenSSL's own HMAC-SHA256 (openssl-dgst) over the same bytes."""
    said = subprocess.run(
        ["openssl", "dgst", "-sha256", "-hmac", KEY],
        input=f"{SECONDS}.".encode() + BODY,
        capture_output=True,
        check=True,
    ).stdout.decode()
    assert said.split()[-1] == signature_of(KEY, SECONDS, BODY)


def test_the_signature_against_the_test_cases_of_rfc_4231() -> None:
    """RFC 4231, 4.3: key "Jefe", data "what do ya want for nothing?"; ours puts a time and a full stop before it."""
    import hashlib
    import hmac

    data = b"1.what do ya want for nothing?"
    assert signature_of("Jefe", "1", data[2:]) == hmac.new(b"Jefe", data, hashlib.sha256).hexdigest()
    plain = hmac.new(b"Jefe", data[2:], hashlib.sha256).hexdigest()
    assert plain == "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"


def test_what_is_rightly_signed_is_good_in_either_case_of_letters() -> None:
    assert judged() is Signed.GOOD
    assert judged(signature=signature_of(KEY, SECONDS, BODY).upper()) is Signed.GOOD


@pytest.mark.parametrize(
    ("apart", "expected"),
    [
        (timedelta(0), Signed.GOOD),
        (WINDOW, Signed.GOOD),
        (-WINDOW, Signed.GOOD),
        (WINDOW + timedelta(seconds=1), Signed.STALE),
        (-WINDOW - timedelta(seconds=1), Signed.STALE),
        (timedelta(days=400), Signed.STALE),
    ],
)
def test_it_is_good_for_five_minutes_either_way(apart: timedelta, expected: Signed) -> None:
    assert judged(seconds=str(int((NOW - apart).timestamp()))) is expected


@pytest.mark.parametrize("signature", ["", "0" * 64, "no", "é" * 64, signature_of(KEY, SECONDS, BODY)[:-1]])
def test_another_signature_is_forged(signature: str) -> None:
    assert judged(signature=signature) is Signed.FORGED


@pytest.mark.parametrize("seconds", ["", "-1", "1.5", "now", "１２３", "9" * 12, " 1", "1\n"])
def test_a_time_that_is_none_is_forged(seconds: str) -> None:
    signature = signature_of(KEY, seconds, BODY) if seconds.isascii() else "0" * 64
    assert judged(seconds=seconds, signature=signature) is Signed.FORGED


def test_another_body_time_or_key_does_not_fit() -> None:
    good = signature_of(KEY, SECONDS, BODY)
    assert judged(body=BODY + b" ", signature=good) is Signed.FORGED
    assert judged(seconds=str(int(SECONDS) + 1), signature=good) is Signed.FORGED
    assert judged(key=KEY + "x") is Signed.FORGED


def test_without_a_key_nothing_is_good() -> None:
    assert judged(key="", signature=signature_of("", SECONDS, BODY)) is Signed.FORGED
