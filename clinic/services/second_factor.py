"""The second factor: codes from an app (TOTP, RFC 6238), and recovery codes for the day the telephone is lost.

django-otp keeps the devices, allows each code once and slows guessing down. Recovery codes are stored as keyed digests:
whoever reads the database cannot log in with what stands there.
"""

import time
from collections.abc import Callable
from datetime import datetime
from enum import Enum, auto

from django.db import transaction
from django.utils.crypto import salted_hmac
from django_otp.oath import TOTP
from django_otp.plugins.otp_static.models import StaticDevice
from django_otp.plugins.otp_totp.models import TOTPDevice

from clinic.models import User
from clinic.services.drawn_codes import drawn_code
from clinic.services.events import Actor, event_record

CODES = 10
LONGEST_WAIT_DOUBLINGS = 9
"""After so many wrong codes in a row each further try costs four minutes: 340 tries a day at one million codes."""
_PARTS = 2
_DIGEST = 16


class Checked(Enum):
    """WAIT: too many wrong codes, try again in a while. USED: it was right once, and works once only."""

    RIGHT = auto()
    WRONG = auto()
    WAIT = auto()
    USED = auto()


class FactorRefused(ValueError):
    """The second factor stays as it is; the text says what to do."""


def factor_of(user: User) -> TOTPDevice | None:
    """The app that makes codes for user, once it has been proved; None without one."""
    found: TOTPDevice | None = TOTPDevice.objects.filter(user=user, confirmed=True).first()
    return found


def codes_left(user: User) -> int:
    """How many recovery codes are unused."""
    device = StaticDevice.objects.filter(user=user).first()
    return device.token_set.count() if device else 0


@transaction.atomic
def factor_begin(*, user: User) -> TOTPDevice:
    """A key for an app that is being set up; the same one until it is proved, so that a page may be loaded again."""
    device: TOTPDevice = TOTPDevice.objects.get_or_create(user=user, confirmed=False, defaults={"name": "app"})[0]
    return device


@transaction.atomic
def factor_confirm(*, actor: Actor, now: datetime, user: User, code: str) -> list[str]:
    """Prove the app with a code of it; from then on log-in asks for one. Returns recovery codes, shown once.

    Raises FactorRefused.
    """
    device = TOTPDevice.objects.select_for_update().filter(user=user, confirmed=False).first()
    if device is None or factor_of(user) is not None:
        msg = "A second factor is set up already"
        raise FactorRefused(msg)
    totp = TOTP(device.bin_key, device.step, device.t0, device.digits)
    totp.time = now.timestamp()
    if not (_is_code(code) and totp.verify(int(_plain(code)), device.tolerance)):
        msg = "That is not the code that the app shows now. See that the telephone sets its clock by itself"
        raise FactorRefused(msg)
    device.confirmed, device.last_t = True, totp.t()
    device.save()
    event_record(actor=actor, verb="second_factor.set_up", subject=user, now=now)
    return recovery_codes_make(actor=actor, now=now, user=user)


@transaction.atomic
def recovery_codes_make(*, actor: Actor, now: datetime, user: User) -> list[str]:
    """Ten new recovery codes; those before are worth nothing any more."""
    StaticDevice.objects.filter(user=user).delete()
    device = StaticDevice.objects.create(user=user, name="recovery")
    codes = [drawn_code(_PARTS) for _ in range(CODES)]
    for code in codes:
        device.token_set.create(token=_digest(user, code))
    event_record(actor=actor, verb="second_factor.codes_made", subject=user, now=now)
    return codes


@transaction.atomic
def factor_remove(*, actor: Actor, now: datetime, user: User) -> None:
    """Log-in asks for no code any more."""
    TOTPDevice.objects.filter(user=user).delete()
    StaticDevice.objects.filter(user=user).delete()
    event_record(actor=actor, verb="second_factor.removed", subject=user, now=now)


@transaction.atomic
def factor_check(*, actor: Actor, now: datetime, user: User, code: str) -> Checked:
    """Whether code is right, once. Digits are asked of the app alone, anything else of the recovery codes alone.

    A wrong one slows down further tries of its own kind, never of the other, and never for longer than four minutes.
    """
    app = TOTPDevice.objects.select_for_update().filter(user=user, confirmed=True).first()
    if app is not None and _is_code(code):
        # Read before asking: the library forgets why it said no.
        found = _reason(app, int(_plain(code)))
        return _asked(app, lambda: app.verify_token(_plain(code)), otherwise=found)
    recovery = StaticDevice.objects.select_for_update().filter(user=user, confirmed=True).first()
    if recovery is None:
        return Checked.WRONG
    found = _asked(recovery, lambda: recovery.verify_token(_digest(user, code)), otherwise=Checked.WRONG)
    if found is Checked.RIGHT:
        event_record(actor=actor, verb="second_factor.code_used", subject=user, now=now)
    return found


def _asked(device: TOTPDevice | StaticDevice, verify: Callable[[], bool], *, otherwise: Checked) -> Checked:
    if not device.verify_is_allowed()[0]:
        return Checked.WAIT
    if verify():
        return Checked.RIGHT
    if device.throttling_failure_count > LONGEST_WAIT_DOUBLINGS:
        device.throttling_failure_count = LONGEST_WAIT_DOUBLINGS
        device.save(update_fields=["throttling_failure_count"])
    return otherwise


def _reason(device: TOTPDevice, number: int) -> Checked:
    """Why the app's code will be refused, if it will be.

    That a code would be right at another time is not told: it would hand a guesser the codes of the minutes to come.
    """
    totp = TOTP(device.bin_key, device.step, device.t0, device.digits, device.drift)
    totp.time = time.time()
    return Checked.USED if totp.verify(number, device.tolerance) and totp.t() <= device.last_t else Checked.WRONG


def _is_code(code: str) -> bool:
    plain = _plain(code)
    return len(plain) == 6 and plain.isascii() and plain.isdecimal()


def _plain(code: str) -> str:
    return "".join(code.split()).replace("-", "").casefold()


def _digest(user: User, code: str) -> str:
    """What is stored of a recovery code: 64 bits of a keyed digest of 49 bits that were drawn by chance."""
    return salted_hmac("wearwindow.recovery", f"{user.pk}:{_plain(code)}", algorithm="sha256").hexdigest()[:_DIGEST]
