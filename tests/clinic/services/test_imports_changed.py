"""A list that changes people who are stored: the same rows and events, however many it is written with at once."""

from collections.abc import Callable
from datetime import date, datetime
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from clinic.models import Clinic, Event, Patient, PatientImport
from clinic.services.events import Actor
from clinic.services.import_writing import import_write
from clinic.services.imports import ImportRefused, import_begin, import_check, import_choose
from clinic.services.patients import patient_change
from clinic.signals import messages_stale
from tests.factories.clinic import PatientFactory, UserFactory

pytestmark = pytest.mark.django_db
ACTOR = Actor(word="test")
HEAD = "name,born,phone,email,external_id,note\n"
Checked = Callable[[str], PatientImport]


@pytest.fixture
def checked(clinic: Clinic, now: datetime) -> Checked:
    """checked(lines) takes in a list of these lines and checks them all."""

    def make(lines: str) -> PatientImport:
        of = import_begin(actor=ACTOR, now=now, file_name="list.csv", pieces=[(HEAD + lines).encode()])
        of = import_choose(actor=ACTOR, now=now, of=of, codec="", delimiter=",", mapping=None, order=None)
        while of.state == PatientImport.State.CHECKING:
            of = import_check(of=of, today=date(2027, 3, 10))
        return of

    return make


def states(of: PatientImport) -> list[tuple[int, str]]:
    return list(of.judged.values_list("line", "state"))


def slowly(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave every line to the way that judges each again."""
    monkeypatch.setattr("clinic.services.import_writing.changed_lines_sure", lambda of: set())
    monkeypatch.setattr("clinic.services.import_writing.patients_changed", lambda **call: 0)


def stored(now: datetime) -> list[Patient]:
    """Three people, and what the list below says of them."""
    asked = {"consents": True, "consent_at": now, "consent_asked_by": UserFactory(), "call_me": "A"}
    people = [
        {"full_name": "Ana Reis", "born": date(1985, 3, 4), "note": "likes cats"},
        {"full_name": "Bo Lund", "born": date(1990, 2, 28), "external_id": "B-1"},
        {"full_name": "Cy Ng", "born": date(2001, 7, 9), "external_id": "0003"},
    ]
    return [PatientFactory(**one, **asked, phone="+12125550100", email="x@example.org") for one in people]


LINES = (
    "Ana Reis,1985-03-04,212 555 0199,,A-1,\n"
    'Bo O\'Lund,1990-02-28,,bo@example.org,B-1,"two\nlines"\n'
    "Cy Ng,2001-07-09,,,0003,new note\n"
)


def rows_of(patients: list[Patient]) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """What is stored of these people, and the events about them, without what differs each time."""
    ids = [patient.pk for patient in patients]
    rows = list(Patient.objects.filter(pk__in=ids).order_by("pk").values())
    events = list(Event.objects.filter(patient__in=ids).order_by("patient_id", "id").values())
    assert [event["subject_id"] for event in events] == [str(event["patient_id"]) for event in events]
    left_out = ("id", "created_at", "consent_asked_by_id", "patient_id", "subject_id")
    return [
        [{name: value for name, value in row.items() if name not in left_out} for row in which]
        for which in (rows, events)
    ]  # type: ignore[return-value]


def test_one_by_one_or_all_at_once_changes_the_same(
    checked: Checked, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    people = stored(now)
    of = import_write(actor=ACTOR, now=now, of=checked(LINES))
    at_once = (of.counts, rows_of(people))
    Patient.objects.all().delete()
    slowly(monkeypatch)
    people = stored(now)
    of = import_write(actor=ACTOR, now=now, of=checked(LINES))
    assert (of.counts, rows_of(people)) == at_once
    rows, events = at_once[1]
    assert [row["full_name"] for row in rows] == ["Ana Reis", "Bo O'Lund", "Cy Ng"]
    assert [(row["note"], row["external_id"], row["version"], row["plan_version"]) for row in rows] == [
        ("likes cats", "A-1", 2, 2), ("two\nlines", "B-1", 2, 2), ("new note", "0003", 2, 2),
    ]  # fmt: skip
    assert [event["fields"] for event in events] == [
        ["external_id", "phone"], ["email", "full_name", "note"], ["note"],
    ]  # fmt: skip
    assert rows[1]["search_text"] == "bo o'lund olund"
    assert {event["verb"] for event in events} == {"patient.changed"}


def test_the_same_list_again_changes_nobody(checked: Checked, now: datetime) -> None:
    people = stored(now)
    import_write(actor=ACTOR, now=now, of=checked(LINES))
    before = rows_of(people)
    again = import_write(actor=ACTOR, now=now, of=checked(LINES))
    assert (again.counts["same"], rows_of(people)) == (3, before)


def test_messages_are_planned_anew_once(
    checked: Checked, now: datetime, django_capture_on_commit_callbacks: Callable[..., Any]
) -> None:
    stored(now)
    of, heard = checked(LINES), []

    def hear(**_: Any) -> None:
        heard.append(1)

    messages_stale.connect(hear)
    try:
        with django_capture_on_commit_callbacks(execute=True):
            import_write(actor=ACTOR, now=now, of=of)
    finally:
        messages_stale.disconnect(hear)
    assert heard == [1]


def test_what_a_clerk_saved_since_the_check_stays(checked: Checked, now: datetime) -> None:
    """The list says what the clerk has just put right in another way: the line waits for somebody."""
    ana, bo, _ = stored(now)
    of = checked(LINES)
    patient_change(actor=ACTOR, now=now, patient=ana, values={"phone": "+12125550111"}, version=1)
    other = {"full_name": "Somebody Else", "born": date(1960, 1, 2)}
    patient_change(actor=ACTOR, now=now, patient=bo, values=other, version=1)
    after = import_write(actor=ACTOR, now=now, of=of)
    assert states(after) == [(2, "changed"), (3, "doubtful"), (5, "changed")]
    bo.refresh_from_db()
    assert (bo.full_name, bo.version) == ("Somebody Else", 2)


def test_a_number_given_to_somebody_else_since_the_check_is_not_given_twice(checked: Checked, now: datetime) -> None:
    ana = stored(now)[0]
    of = checked(LINES)
    PatientFactory(full_name="Di Oss", external_id="A-1")
    after = import_write(actor=ACTOR, now=now, of=of)
    ana.refresh_from_db()
    assert (states(after)[0], ana.external_id, ana.version) == ((2, "doubtful"), None, 1)


def test_a_namesake_entered_since_the_check_makes_the_line_doubtful(checked: Checked, now: datetime) -> None:
    ana = stored(now)[0]
    of = checked(LINES)
    PatientFactory(full_name="Ana Reis", born=date(1985, 3, 4))
    after = import_write(actor=ACTOR, now=now, of=of)
    ana.refresh_from_db()
    assert (states(after)[0], ana.version) == ((2, "doubtful"), 1)


@pytest.mark.parametrize("batch", [1, 500])
def test_of_two_lines_about_one_person_the_second_waits_for_somebody(
    checked: Checked, now: datetime, monkeypatch: pytest.MonkeyPatch, batch: int
) -> None:
    """One finds her by the number and gives her a new name, the other by the old name: no line is silently lost."""
    monkeypatch.setattr("clinic.services.import_writing.BATCH", batch)
    eva = PatientFactory(full_name="Eva Marr", born=date(1985, 3, 4), external_id="E-1", note="")
    of = checked("Eva Marr-Holt,1985-03-04,,,E-1,\nEva Marr,1985-03-04,,,,asks for Dana\n")
    assert states(of) == [(2, "changed"), (3, "changed")]
    after = import_write(actor=ACTOR, now=now, of=of)
    eva.refresh_from_db()
    assert (eva.full_name, eva.note, eva.version) == ("Eva Marr-Holt", "", 2)
    assert (states(after), after.counts["changed"]) == ([(2, "changed"), (3, "doubtful")], 1)


def test_somebody_who_saves_at_the_very_moment_stops_the_whole_list(
    checked: Checked, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    people = stored(now)
    of, before = checked(LINES + "Dag New,1990-01-01,,,,\n"), rows_of(people)
    monkeypatch.setattr("clinic.services.import_writing.changed_lines_sure", lambda of: {2, 3})
    with pytest.raises(ImportRefused, match="Nothing was written: somebody's details were saved"):
        import_write(actor=ACTOR, now=now, of=of)
    assert (rows_of(people), Patient.objects.count()) == (before, 3)


def test_a_list_of_changes_is_written_in_few_statements(checked: Checked, now: datetime) -> None:
    """However long it is: nobody else can write to SQLite meanwhile."""

    def statements(lines: int) -> int:
        people = [Patient(full_name=f"P {lines} {n}", search_text=f"p {lines} {n}") for n in range(lines)]
        for number, patient in enumerate(people):
            patient.external_id = f"{lines}-{number}"
        Patient.objects.bulk_create(people)
        of = checked("".join(f"{one.full_name},,,,{one.external_id},said now\n" for one in people))
        with CaptureQueriesContext(connection) as found:
            after = import_write(actor=ACTOR, now=now, of=of)
        assert after.counts["changed"] == lines
        return len(found)

    assert statements(5) == statements(1200) <= 20
