"""A clinic with a row of most kinds, and a way to make a backup of it."""

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone

from clinic.backup.making import Made, backup_make
from clinic.backup.packing import key_make, key_read
from clinic.models import Clinic, OnceKey, PatientImport
from clinic.services.events import Actor, event_record
from clinic.services.imports import import_begin
from tests.factories import CallItemFactory, HelperFactory, MessageFactory, StripFactory, UserFactory, VisitFactory

MakeBackup = Callable[..., Made]


@pytest.fixture
def busy(clinic: Clinic) -> Clinic:
    """Dates, times, ids, bytes, lists, numbers with a fraction, addresses of a network, signs of many scripts."""
    at = datetime.fromisoformat("2027-03-10T15:00:00.123456+00:00")
    call = CallItemFactory(words="Es juckt 😖, «très fort»\n\tيحك")
    StripFactory(plan=call.application.plan, stretch=0.1 + 0.2)
    MessageFactory(application=call.application)
    HelperFactory(patient=call.patient)
    VisitFactory(patient=call.patient)
    OnceKey.objects.create(used_at=at, result="/patients/1/")
    import_begin(actor=Actor(word="test"), now=at, file_name="list.csv", pieces=[b"name\nAda Quill\n"])
    actor = Actor(user=UserFactory(manager=True), origin="2001:db8::7")
    event_record(
        actor=actor, verb="patient.read", subject=call.patient, patient=call.patient, now=at, fields=["b", "a"]
    )
    assert PatientImport.objects.exists()
    return clinic


@pytest.fixture
def key() -> Any:
    return key_read(key_make())


@pytest.fixture
def backup(busy: Clinic, tmp_path: Path) -> MakeBackup:
    """backup(key=..., keep=..., now=...) of the busy clinic, in tmp_path/backups."""

    def make(*, key: Any = None, keep: int = 9, now: datetime | None = None) -> Made:
        actor = Actor(word="test")
        return backup_make(actor=actor, now=now or timezone.now(), folder=tmp_path / "backups", key=key, keep=keep)

    return make
