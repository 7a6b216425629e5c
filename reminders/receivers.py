"""Hears what the layers below tell."""

from clinic.signals import messages_stale


def connect() -> None:
    messages_stale.connect(_wake, dispatch_uid="reminders.wake")


def _wake(**kwargs: object) -> None:
    from reminders.services.waking import wake  # the engine loads only where something changed

    wake()
