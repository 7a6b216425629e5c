"""Hears what the layers below tell."""

from typing import Any

from clinic.signals import clinic_change_asked, messages_stale


def connect() -> None:
    messages_stale.connect(_wake, dispatch_uid="reminders.wake")
    clinic_change_asked.connect(_difference, dispatch_uid="reminders.difference")


def _wake(**kwargs: object) -> None:
    from reminders.services.waking import wake  # the engine loads only where something changed

    wake()


def _difference(*, before: Any, after: Any, now: Any, **kwargs: object) -> list[str]:
    from reminders.services.policy_preview import policy_difference

    return policy_difference(before=before, after=after, now=now).sentences()
