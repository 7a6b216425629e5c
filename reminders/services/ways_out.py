"""The transports this clinic has set up."""

from collections.abc import Mapping

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured

from clinic.models.people import Channel
from reminders.transports import Transport
from reminders.transports.folder import FolderTransport
from reminders.transports.gateway import Gateway, GatewayTransport
from reminders.transports.smtp import MailServer, SmtpTransport

FOLDER = "folder:"


def transports_from_settings() -> Mapping[str, Transport]:
    """One transport a channel, from EMAIL_URL and SMS_GATEWAY_URL. Raises ImproperlyConfigured, naming the setting."""
    return {Channel.SMS.value: _sms(), Channel.EMAIL.value: _email()}


def _folder(channel: Channel) -> Transport:
    return FolderTransport(settings.OUTBOX_FOLDER, channel.value, settings.SENDER_ADDRESS)


def _email() -> Transport:
    url = settings.EMAIL_URL
    if url.startswith(FOLDER):
        return _folder(Channel.EMAIL)
    try:
        return SmtpTransport(MailServer.from_url(url), settings.SENDER_ADDRESS)
    except ValueError as wrong:
        raise ImproperlyConfigured(f"EMAIL_URL: {wrong}") from wrong


def _sms() -> Transport:
    url = settings.SMS_GATEWAY_URL
    if url.startswith(FOLDER):
        return _folder(Channel.SMS)
    try:
        return GatewayTransport(Gateway.from_url(url, settings.SMS_GATEWAY_TOKEN, settings.SMS_SENDER))
    except ValueError as wrong:
        raise ImproperlyConfigured(f"SMS_GATEWAY_URL: {wrong}") from wrong
