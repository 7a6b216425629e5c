"""Codes of the app and recovery codes: right once, slow to guess, never locking each other."""

from datetime import timedelta

import pytest
import time_machine
from django_otp.oath import TOTP
from django_otp.plugins.otp_static.models import StaticToken
from django_otp.plugins.otp_totp.models import TOTPDevice

from clinic.models import Event, User
from clinic.services.events import Actor
from clinic.services.second_factor import (
    Checked,
    FactorRefused,
    codes_left,
    factor_begin,
    factor_check,
    factor_confirm,
    factor_of,
    factor_remove,
    recovery_codes_make,
)
from tests.clinic.factor import code_at as shown_at
from tests.factories.clinic import NOW, UserFactory

pytestmark = pytest.mark.django_db
ACTOR = Actor(word="test")


def code_at(device: TOTPDevice, seconds: float = 0.0) -> str:
    """The code that an app shows so many seconds after NOW."""
    return shown_at(device, NOW + timedelta(seconds=seconds))


def check(user: User, code: str, seconds: float = 0.0) -> Checked:
    at = NOW + timedelta(seconds=seconds)
    with time_machine.travel(at, tick=False):
        return factor_check(actor=ACTOR, now=at, user=user, code=code)


@pytest.fixture
def user() -> User:
    return UserFactory()


@pytest.fixture
def device(user: User) -> TOTPDevice:
    return factor_begin(user=user)


@pytest.fixture
def recovery(user: User, device: TOTPDevice) -> list[str]:
    """The app is proved with the code of a minute before NOW; the recovery codes."""
    at = NOW - timedelta(seconds=60)
    return factor_confirm(actor=ACTOR, now=at, user=user, code=code_at(device, -60))


def test_codes_against_rfc_6238() -> None:
    """RFC 6238, appendix B, SHA-1, eight digits: the seed "12345678901234567890" at two of its moments."""
    seed = b"12345678901234567890"
    for moment, code in ((59, 94287082), (1111111109, 7081804)):
        shown = TOTP(seed, digits=8)
        shown.time = moment
        assert shown.token() == code


def test_nothing_is_asked_before_the_app_is_proved(user: User, device: TOTPDevice) -> None:
    assert factor_begin(user=user) == device
    assert factor_of(user) is None
    with pytest.raises(FactorRefused, match="not the code"):
        factor_confirm(actor=ACTOR, now=NOW, user=user, code="000 000" if code_at(device) != "000000" else "000001")
    with pytest.raises(FactorRefused, match="not the code"):
        factor_confirm(actor=ACTOR, now=NOW, user=user, code="letters")
    assert factor_of(user) is None


def test_the_proof_gives_ten_recovery_codes_once(user: User, recovery: list[str]) -> None:
    assert factor_of(user) is not None
    assert len(set(recovery)) == 10 == codes_left(user)
    with pytest.raises(FactorRefused, match="already"):
        factor_confirm(actor=ACTOR, now=NOW, user=user, code="000000")


def test_what_is_stored_of_recovery_codes_lets_nobody_in(user: User, recovery: list[str]) -> None:
    stored = set(StaticToken.objects.values_list("token", flat=True))
    assert not stored & {code.replace("-", "") for code in recovery}
    assert {check(user, token) for token in list(stored)[:1]} == {Checked.WRONG}


def test_a_code_works_once(user: User, device: TOTPDevice, recovery: list[str]) -> None:
    assert check(user, code_at(device)) is Checked.RIGHT
    assert check(user, code_at(device), 5) is Checked.USED


def test_a_code_written_with_a_space_is_the_same(user: User, device: TOTPDevice, recovery: list[str]) -> None:
    code = code_at(device)
    assert check(user, f" {code[:3]} {code[3:]}") is Checked.RIGHT


def test_a_clock_half_a_minute_off_is_followed_and_one_far_off_is_refused_without_a_lock(
    user: User, device: TOTPDevice, recovery: list[str]
) -> None:
    assert check(user, code_at(device, 30)) is Checked.RIGHT
    assert check(user, code_at(device, 300), 40) is Checked.WRONG
    assert check(user, code_at(device, 90), 90) is Checked.RIGHT


def test_many_log_ins_by_the_app_leave_the_recovery_codes_alone(
    user: User, device: TOTPDevice, recovery: list[str]
) -> None:
    for turn in range(21):
        assert check(user, code_at(device, turn * 30), turn * 30) is Checked.RIGHT
    assert check(user, recovery[0], 700) is Checked.RIGHT
    assert check(user, recovery[0], 800) is Checked.WRONG
    assert codes_left(user) == 9


def test_wrong_codes_slow_down_and_never_for_longer_than_minutes(
    user: User, device: TOTPDevice, recovery: list[str]
) -> None:
    wrong = "000000" if code_at(device) != "000000" else "111111"
    assert check(user, wrong) is Checked.WRONG
    assert check(user, wrong, 0.5) is Checked.WAIT
    at = 0.0
    for _ in range(40):
        at += 300
        check(user, "999999" if code_at(device, at) != "999999" else "888888", at)
    assert check(user, code_at(device, at + 30), at + 30) is Checked.WAIT
    assert check(user, code_at(device, at + 300), at + 300) is Checked.RIGHT


def test_guesses_at_the_app_do_not_slow_the_recovery_codes(user: User, device: TOTPDevice, recovery: list[str]) -> None:
    for _ in range(9):
        check(user, "000000" if code_at(device) != "000000" else "111111")
    assert check(user, recovery[3].upper()) is Checked.RIGHT


def test_new_recovery_codes_end_the_old_ones(user: User, recovery: list[str]) -> None:
    new = recovery_codes_make(actor=ACTOR, now=NOW, user=user)
    assert check(user, recovery[0]) is Checked.WRONG
    assert check(user, new[0], 60) is Checked.RIGHT


def test_a_code_of_somebody_else_is_wrong(user: User, recovery: list[str]) -> None:
    other = UserFactory()
    assert check(other, recovery[0]) is Checked.WRONG
    recovery_codes_make(actor=ACTOR, now=NOW, user=other)
    assert check(other, recovery[0]) is Checked.WRONG
    assert codes_left(user) == 10


def test_without_the_factor_no_code_is_right(user: User, device: TOTPDevice, recovery: list[str]) -> None:
    factor_remove(actor=ACTOR, now=NOW, user=user)
    assert factor_of(user) is None
    assert codes_left(user) == 0
    assert check(user, code_at(device)) is Checked.WRONG
    assert list(Event.objects.order_by("id").values_list("verb", flat=True)) == [
        "second_factor.set_up", "second_factor.codes_made", "second_factor.removed",
    ]  # fmt: skip
