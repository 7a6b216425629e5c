"""A patient who speaks another language, and a database server that never stopped."""

from collections.abc import Callable

import pytest

from clinic.models import Clinic
from clinic.rules.tongue import LANGUAGES
from reminders.services import queueing
from taping.models import Application


@pytest.fixture
def speak(clinic: Clinic, tape: Application) -> Callable[[str], None]:
    """speak("ar"): the language of the tape's patient, approved; the clinic's own words are in no language."""

    def set_language(key: str) -> None:
        clinic.languages = {one: {"name": "Nur Halloran", "on": "2027-03-01"} for one in LANGUAGES}
        clinic.name, clinic.out_of_hours_advice = "Hafen", "(212) 555-0101"
        clinic.save()
        tape.patient.language = key
        tape.patient.save()

    return set_language


@pytest.fixture(autouse=True)
def _never_stopped(monkeypatch: pytest.MonkeyPatch) -> None:
    """The tests' days are not those on which the database's server began."""
    monkeypatch.setattr(queueing, "forgot_at", lambda: None)
