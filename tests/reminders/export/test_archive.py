"""The file a patient takes home: everything about them, nobody else, and no key that opens anything."""

import csv
import io
import json
import zipfile
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any, cast

import pytest
from django.test import Client
from django.urls import reverse
from fhir.resources.R4B.bundle import Bundle

from clinic.models import Clinic, Event, Patient, User
from clinic.services.events import Actor
from reminders.export.archive import person_export
from reminders.models import Link
from taping.models import Application, Correction, PainScore, SkinReport, StripEvent
from tests.factories import (
    ApplicationFactory,
    CallItemFactory,
    HelperFactory,
    MessageFactory,
    PatientFactory,
    StripFactory,
    VisitFactory,
)
from tests.factories.clinic import NOW

pytestmark = pytest.mark.django_db
SignedIn = Callable[..., tuple[Client, User]]


@pytest.fixture
def person(clinic: Clinic) -> Patient:
    ada: Patient = PatientFactory(
        full_name="Ada <Quill> & Sons", call_me="Ada", born=date(1985, 4, 3), phone="+12125550123",
        email="ada@example.org", external_id="A-7", note="likes tea",
    )  # fmt: skip
    HelperFactory(patient=ada, full_name="Hal Per", phone="+12125550177")
    tape: Application = ApplicationFactory(
        patient=ada, ended_at=NOW + timedelta(days=4), ended_how="off", ended_by="patient", ending_note="came off well"
    )
    type(tape.plan.screen).objects.update(answers={"pregnant": "no", "open_wound": "no"}, note="dry skin")
    strip = StripFactory(plan=tape.plan)
    PainScore.objects.create(plan=tape.plan, moment="before", score=6, said_at=NOW)
    PainScore.objects.create(plan=tape.plan, moment="after", score=None, said_at=NOW)
    Correction.objects.create(application=tape, at=NOW, what="start", was="10:00", became="10:15", why="a slip")
    StripEvent.objects.create(application=tape, strip=strip, what="edge_trimmed", at=NOW, saved_at=NOW, note="thumb")
    SkinReport.objects.create(
        patient=ada, application=tape, reported_at=NOW, reported_by="patient", signs=["itching"], urgency="today",
        words="it itches", advised="take it off", graded_by=tape.therapist,
    )  # fmt: skip
    SkinReport.objects.create(patient=ada, reported_at=NOW, reported_by="therapist", signs=[], urgency="today")
    for state in ("planned", "sending", "sent", "failed", "uncertain"):
        MessageFactory(application=tape, kind=f"kind_{state}", state=state, text=f"text {state}", settled_at=NOW)
    CallItemFactory(application=tape, words="please call", note="spoke")
    Link.objects.create(application=tape, purpose="tape", generation=1, token_sha256="5ec4e7" * 10, expires_at=NOW)
    for minutes, state in enumerate(("booked", "arrived", "done", "did_not_attend", "cancelled")):
        VisitFactory(patient=ada, starts_at=NOW + timedelta(hours=minutes), state=state, note=f"note {state}")
    ApplicationFactory(patient=ada, plan__screen__region="elbow", applied_at=NOW)
    return Patient.objects.get(pk=ada.pk)


@pytest.fixture
def somebody_else(clinic: Clinic) -> None:
    """Another patient, of the same household and the same therapist's day, with a row of each kind."""
    bea = PatientFactory(full_name="Bea Longstocking", phone="+12125550123", email="bea@example.org")
    tape = ApplicationFactory(patient=bea, ending_note="SECRET of Bea")
    MessageFactory(application=tape, text="SECRET to Bea", address="bea@example.org")
    CallItemFactory(application=tape, words="SECRET call")
    HelperFactory(patient=bea, full_name="SECRET helper")
    VisitFactory(patient=bea, note="SECRET visit")
    StripFactory(plan=tape.plan, place="SECRET")


def archive(patient: Patient) -> zipfile.ZipFile:
    file = person_export(actor=Actor(word="test"), now=NOW, patient=patient, clinic=Clinic.objects.get())
    return zipfile.ZipFile(io.BytesIO(file))


def table(of: zipfile.ZipFile, name: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(of.read(f"tables/{name}.csv").decode("utf-8-sig"))))


def fhir(of: zipfile.ZipFile) -> list[dict[str, Any]]:
    return [entry["resource"] for entry in json.loads(of.read("fhir.json"))["entry"]]


def test_the_bundle_against_the_models_of_fhir_r4b(person: Patient) -> None:
    """fhir.resources 8, the models of HL7 FHIR 4.3.0, made by others from the standard's own definitions."""
    text = archive(person).read("fhir.json").decode()
    bundle = Bundle.model_validate_json(text)
    kinds = [entry.resource.get_resource_type() for entry in cast(Any, bundle).entry]
    assert {kind: kinds.count(kind) for kind in sorted(set(kinds))} == {
        "Appointment": 5, "Communication": 5, "Consent": 1, "Observation": 3, "Patient": 1, "Practitioner": 7,
        "Procedure": 2, "QuestionnaireResponse": 2, "RelatedPerson": 1,
    }  # fmt: skip
    # And those models do refuse what is wrong.
    with pytest.raises(ValueError, match="birthDate"):
        Bundle.model_validate_json(text.replace("1985-04-03", "3 April"))
    with pytest.raises(ValueError, match="status"):
        Bundle.model_validate_json(
            text.replace('"status": "completed",', "", 1).replace('"status": "in-progress",', "")
        )


def test_every_reference_leads_to_an_entry(person: Patient) -> None:
    text = archive(person).read("fhir.json").decode()
    entries = json.loads(text)["entry"]
    addresses = [entry["fullUrl"] for entry in entries]
    assert len(addresses) == len(set(addresses))
    meant = {part.split('"')[0] for part in text.split('"reference": "')[1:]}
    assert meant
    assert meant <= set(addresses)


def test_the_words_of_the_bundle(person: Patient) -> None:
    found = fhir(archive(person))
    by_kind: dict[str, list[dict[str, Any]]] = {}
    for one in found:
        by_kind.setdefault(one["resourceType"], []).append(one)
    assert by_kind["Patient"][0]["name"] == [
        {"use": "official", "text": "Ada <Quill> & Sons"}, {"use": "usual", "text": "Ada"},
    ]  # fmt: skip
    tape = by_kind["Procedure"][0]
    assert (tape["status"], tape["bodySite"], tape["performedPeriod"]) == (
        "completed", [{"text": "left knee"}],
        {"start": "2027-03-10T15:00:00+00:00", "end": "2027-03-14T15:00:00+00:00"},
    )  # fmt: skip
    assert {"text": "came off well"} in tape["note"]
    assert [one["status"] for one in by_kind["Communication"]] == [
        "preparation", "in-progress", "completed", "not-done", "unknown",
    ]  # fmt: skip
    assert [one["status"] for one in by_kind["Appointment"]] == [
        "booked", "arrived", "fulfilled", "noshow", "cancelled",
    ]  # fmt: skip
    assert [one["valueInteger"] for one in by_kind["Observation"] if "valueInteger" in one] == [6]


def test_the_tables_hold_each_row_and_no_key(person: Patient) -> None:
    found = archive(person)
    assert {name.split("/")[1] for name in found.namelist() if "/" in name} == {
        f"{one}.csv" for one in (
            "patient", "helper", "visit", "skinscreen", "stripplan", "strip", "painscore", "application", "correction",
            "stripevent", "skinreport", "message", "callitem", "link", "event",
        )
    }  # fmt: skip
    assert [row["text"] for row in table(found, "message")][2] == "text sent"
    assert table(found, "patient")[0]["external_id"] == "A-7"
    assert len(table(found, "painscore")) == 2
    everything = "".join(found.read(name).decode() for name in found.namelist())
    assert "5ec4e7" not in everything
    assert {"token", "key"}.isdisjoint(table(found, "message")[0])


def test_the_page_reads_as_a_record_and_names_are_escaped(person: Patient) -> None:
    page = archive(person).read("record.html").decode()
    for words in (
        "Ada &lt;Quill&gt; &amp; Sons", "3 April 1985", "Hal Per", "came off well", "Pain before taping: 6 of 10",
        "dry skin",
        "Left knee, 10 March 2027, 10:00", "it itches", "text sent", "please call", "a slip", "thumb", "note done",
        "Still on the skin", "likes tea",
    ):  # fmt: skip
        assert words in page, words
    assert "<Quill>" not in page
    assert "max-width: 45rem" in page.partition("</head>")[0], "it looks right wherever it is opened, all by itself"


def test_nobody_else_is_in_it(person: Patient, somebody_else: None) -> None:
    found = archive(person)
    everything = "".join(found.read(name).decode() for name in found.namelist())
    assert "Ada" in everything
    assert [word for word in ("SECRET", "Longstocking", "bea@example.org") if word in everything] == []


def test_a_formula_stays_text(clinic: Clinic) -> None:
    patient = PatientFactory(full_name="=HYPERLINK(1)", note="@SUM(A1)")
    row = table(archive(patient), "patient")[0]
    assert (row["full_name"], row["note"]) == ("'=HYPERLINK(1)", "'@SUM(A1)")


def test_the_button_gives_the_file_and_leaves_an_event(signed_in: SignedIn, person: Patient) -> None:
    client, therapist = signed_in("therapist")
    assert "Download all of it" in client.get(reverse("patient_page", args=[person.pk])).content.decode()
    answer = client.post(reverse("patient_export", args=[person.pk]))
    with zipfile.ZipFile(io.BytesIO(answer.content)) as found:
        assert found.testzip() is None
        assert "record.html" in found.namelist()
    assert answer.headers["Content-Disposition"] == f'attachment; filename="record-{person.pk}.zip"'
    assert answer.headers["Cache-Control"] == "no-store, private"
    assert Event.objects.get(verb="patient.exported").actor == therapist


def test_a_manager_who_does_not_tape_gets_no_findings(signed_in: SignedIn, person: Patient) -> None:
    client, _ = signed_in("manager")
    assert client.post(reverse("patient_export", args=[person.pk])).status_code == 403
    assert "Download all of it" not in client.get(reverse("patient_page", args=[person.pk])).content.decode()
