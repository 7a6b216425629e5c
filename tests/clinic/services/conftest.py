"""What tests of lists of patients ask for."""

from collections.abc import Callable
from datetime import date, datetime
from typing import Any

import pytest

from clinic.models import Clinic, PatientImport
from clinic.services.events import Actor
from clinic.services.imports import import_begin, import_check, import_choose

ACTOR = Actor(word="test")


@pytest.fixture
def checked(clinic: Clinic, now: datetime) -> Callable[..., PatientImport]:
    """checked(text) uploads, settles the columns as found, and checks every line."""

    def make(text: str | bytes, **choices: Any) -> PatientImport:
        data = text.encode() if isinstance(text, str) else text
        of = import_begin(actor=ACTOR, now=now, file_name="list.csv", pieces=[data])
        chosen = {"codec": "", "delimiter": of.delimiter, "mapping": None, "order": None} | choices
        of = import_choose(actor=ACTOR, now=now, of=of, **chosen)
        while of.state == PatientImport.State.CHECKING:
            of = import_check(of=of, today=date(2027, 3, 10))
        return of

    return make
