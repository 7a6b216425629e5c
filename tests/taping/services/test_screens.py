"""A screen is recorded when it is finished, holds included, with the words that were shown."""

from collections.abc import Callable
from datetime import datetime, timedelta

import pytest

from clinic.models import Clinic, Event, Patient
from clinic.services.events import Actor
from taping.models import SkinScreen
from taping.rules.skin import Answer
from taping.services.refusals import TapingRefused
from taping.services.screens import ScreenDetails, screen_record
from tests.factories import PatientFactory, UserFactory
from tests.taping.screening import answers

pytestmark = pytest.mark.django_db

Record = Callable[..., SkinScreen]


@pytest.fixture
def record(clinic: Clinic, now: datetime) -> Record:
    patient: Patient = PatientFactory()
    actor = Actor(user=UserFactory())

    def run(given: dict[str, str] | None = None, **more: object) -> SkinScreen:
        told = {key: Answer(word) if word else None for key, word in answers(**(given or {})).items()}
        details = ScreenDetails(**{"region": "knee", "side": "left", "answers": told, **more})  # type: ignore[arg-type]
        return screen_record(actor=actor, now=now, patient=patient, details=details)

    return run


def test_clear_screen(record: Record, now: datetime) -> None:
    screen = record()
    assert (screen.outcome, screen.reasons, screen.made_at) == ("clear", [], now)
    assert Event.objects.get(verb="screen.recorded").subject_id == str(screen.pk)


def test_hold_is_recorded_with_its_reason_though_questions_are_open(record: Record) -> None:
    screen = record({"infection": "yes", "rash": ""})
    assert screen.outcome == "do_not_tape"
    assert [(reason["question"], reason["urgency"], reason["who"]) for reason in screen.reasons] == [
        ("infection", "today", "a doctor")
    ]


def test_prepare_first_is_recorded(record: Record) -> None:
    assert record({"damp_skin": "yes"}).outcome == "prepare_first"
    assert record({"damp_skin": "sorted_out"}).outcome == "clear"


def test_unfinished_is_not_recorded_and_the_first_open_question_is_named(record: Record) -> None:
    with pytest.raises(TapingRefused, match="1 question is still open") as refused:
        record({"rash": ""})
    assert refused.value.field == "rash"
    assert SkinScreen.objects.count() == 0


def test_caution_needs_a_note(record: Record) -> None:
    with pytest.raises(TapingRefused, match="Write down how the cautions are met") as refused:
        record({"diabetes": "yes"}, note="  ")
    assert refused.value.field == "note"
    assert record({"diabetes": "yes"}, note="sensation checked").outcome == "clear_with_care"


def test_swelling_questions_count_only_for_swelling(record: Record) -> None:
    assert record({"heart_failure": "yes"}, goal="ease_pain").outcome == "clear"
    assert record({"heart_failure": "yes"}, goal="move_swelling").outcome == "do_not_tape"
    assert record({"heart_failure": "yes"}).outcome == "do_not_tape"


@pytest.mark.parametrize(
    ("place", "field"),
    [({"region": "tail"}, "region"), ({"side": "midline"}, "side"), ({"side": ""}, "side"), ({"region": ""}, "region")],
)
def test_places_that_are_none_are_refused(record: Record, place: dict[str, str], field: str) -> None:
    with pytest.raises(TapingRefused) as refused:
        record(**place)
    assert refused.value.field == field


def test_screen_may_lie_back_but_not_ahead(record: Record, now: datetime) -> None:
    screen = record(made_at=now - timedelta(hours=2), late_reason=" no network ")
    assert (screen.made_at, screen.late_reason) == (now - timedelta(hours=2), "no network")
    with pytest.raises(TapingRefused) as refused:
        record(made_at=now + timedelta(seconds=1))
    assert refused.value.field == "made_at"


def test_late_screen_needs_its_reason(record: Record, now: datetime) -> None:
    assert record(made_at=now - timedelta(minutes=15)).late_reason == ""
    with pytest.raises(TapingRefused, match="more than 15 minutes ago") as refused:
        record(made_at=now - timedelta(minutes=15, seconds=1), late_reason=" ")
    assert refused.value.field == "late_reason"


def test_too_long_a_note_is_refused(record: Record) -> None:
    with pytest.raises(TapingRefused, match="longer than 2000 characters"):
        record(note="x" * 2001)


def test_nobody_logged_in_records_nothing(clinic: Clinic, now: datetime) -> None:
    with pytest.raises(TapingRefused, match="logged in"):
        screen_record(
            actor=Actor(word="engine"), now=now, patient=PatientFactory(), details=ScreenDetails("knee", "left")
        )
