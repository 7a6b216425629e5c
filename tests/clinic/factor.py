"""An app that makes codes, for tests."""

from datetime import datetime, timedelta

from django_otp.oath import TOTP
from django_otp.plugins.otp_totp.models import TOTPDevice

from clinic.models import User
from clinic.services.events import Actor
from clinic.services.second_factor import factor_begin, factor_confirm
from tests.factories.clinic import NOW


def code_at(device: TOTPDevice, moment: datetime) -> str:
    """The six digits that the app shows at moment (aware)."""
    shown = TOTP(device.bin_key)
    shown.time = moment.timestamp()
    return f"{shown.token():06d}"


def factor_for(user: User, before: datetime = NOW) -> tuple[TOTPDevice, list[str]]:
    """Set up a second factor for user, an hour before that moment; the app and the recovery codes."""
    device, at = factor_begin(user=user), before - timedelta(hours=1)
    codes = factor_confirm(actor=Actor(word="test"), now=at, user=user, code=code_at(device, at))
    device.refresh_from_db()
    return device, codes
