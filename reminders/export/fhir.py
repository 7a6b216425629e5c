"""The record as a FHIR R4B bundle (HL7 FHIR 4.3.0), so that another program can read it.

Words stand as text, without codes: no terminology was licensed or checked for them. References are urn:uuid addresses
that hold within the bundle (HL7 FHIR R4B, Bundle, 2.36.4).
"""

from collections.abc import Iterator
from datetime import datetime
from typing import Any
from uuid import NAMESPACE_URL, uuid5

from clinic.models import Helper, Patient, User, Visit
from reminders.export.collecting import PersonRecord
from reminders.models import Message
from reminders.rules.words import place_words
from taping.models import Application, PainScore, SkinReport, SkinScreen
from taping.rules.skin_questions import QUESTION_BY_KEY

Resource = dict[str, Any]
_VISIT = {"booked": "booked", "arrived": "arrived", "done": "fulfilled", "did_not_attend": "noshow",
          "cancelled": "cancelled"}  # fmt: skip
_MESSAGE = {"planned": "preparation", "claimed": "preparation", "sending": "in-progress", "sent": "completed",
            "dropped": "not-done", "missed": "not-done", "failed": "not-done", "uncertain": "unknown"}  # fmt: skip
_CONSENT_SCOPE = "http://terminology.hl7.org/CodeSystem/consentscope"


def bundle_of(record: PersonRecord, *, now: datetime, base: str) -> Resource:
    """A bundle of the kind "collection". base: the clinic's public address, from which the ids are made. now: aware."""
    entries = [
        {"fullUrl": _urn(base, one["resourceType"], one["id"]), "resource": one} for one in _resources(record, base)
    ]
    return {"resourceType": "Bundle", "type": "collection", "timestamp": _at(now), "entry": entries}


def _resources(record: PersonRecord, base: str) -> Iterator[Resource]:
    yield _patient(record.patient)
    yield _consent(record.patient, base)
    for staff in _staff(record):
        yield {"resourceType": "Practitioner", "id": str(staff.pk), "name": [{"text": staff.full_name}]}
    yield from (_helper(one, base) for one in record.helpers)
    yield from (_visit(one, base) for one in record.visits)
    yield from (_screen(one, base) for one in record.screens)
    for tape in record.tapes:
        yield _tape(tape, base)
        yield from (_pain(score, tape, base) for score in tape.plan.pain_scores.all() if score.score is not None)
    yield from (_report(one, base) for one in record.reports)
    yield from (_message(one, base) for one in record.messages)


def _staff(record: PersonRecord) -> list[User]:
    found = [one.therapist for one in record.visits] + [one.asked_by for one in record.screens]
    found += [tape.therapist for tape in record.tapes]
    found += [one.graded_by for one in record.reports if one.graded_by]
    return sorted({one.pk: one for one in found}.values(), key=lambda one: one.pk)


def _patient(row: Patient) -> Resource:
    own = [{"use": "official", "text": row.full_name}]
    if row.call_me:
        own.append({"use": "usual", "text": row.call_me})
    return _without_empty(
        {
            "resourceType": "Patient",
            "id": str(row.pk),
            "identifier": [{"value": row.external_id}] if row.external_id else [],
            "name": own,
            "telecom": _telecom(row),
            "birthDate": row.born.isoformat() if row.born else None,
            "communication": [{"language": _coded("urn:ietf:bcp:47", row.language), "preferred": True}],
        }
    )


def _consent(row: Patient, base: str) -> Resource:
    at = row.consent_at if row.consents else row.consent_withdrawn_at
    return _without_empty(
        {
            "resourceType": "Consent",
            "id": str(row.pk),
            "status": "active" if row.consents else "inactive",
            "scope": _coded(_CONSENT_SCOPE, "patient-privacy"),
            "category": [{"text": "Reminders by text message and e-mail"}],
            "patient": _ref(base, "Patient", row.pk),
            "dateTime": _at(at) if at else None,
            "policyRule": {"text": "As agreed with the clinic"},
        }
    )


def _helper(row: Helper, base: str) -> Resource:
    return _without_empty(
        {
            "resourceType": "RelatedPerson",
            "id": str(row.pk),
            "patient": _ref(base, "Patient", row.patient_id),
            "relationship": [{"text": row.get_relation_display()}],
            "name": [{"text": row.full_name}],
            "telecom": _telecom(row),
        }
    )


def _visit(row: Visit, base: str) -> Resource:
    return _without_empty(
        {
            "resourceType": "Appointment",
            "id": str(row.pk),
            "status": _VISIT[row.state],
            "description": row.get_purpose_display(),
            "comment": row.note,
            "start": _at(row.starts_at),
            "end": _at(row.ends_at),
            "participant": [
                {"actor": _ref(base, "Patient", row.patient_id), "status": "accepted"},
                {"actor": _ref(base, "Practitioner", row.therapist_id), "status": "accepted"},
            ],
        }
    )


def _screen(row: SkinScreen, base: str) -> Resource:
    items = [
        {
            "linkId": key,
            "text": QUESTION_BY_KEY[key].text if key in QUESTION_BY_KEY else key,
            "answer": [{"valueString": str(answer).replace("_", " ")}],
        }
        for key, answer in row.answers.items()
    ]
    said = {"outcome": row.outcome.replace("_", " "), "place": place_words(row.region, row.side), "note": row.note}
    items += [{"linkId": key, "text": key, "answer": [{"valueString": text}]} for key, text in said.items() if text]
    return {
        "resourceType": "QuestionnaireResponse",
        "id": str(row.pk),
        "status": "completed",
        "subject": _ref(base, "Patient", row.patient_id),
        "authored": _at(row.made_at),
        "author": _ref(base, "Practitioner", row.asked_by_id),
        "item": items,
    }


def _tape(row: Application, base: str) -> Resource:
    strips = [
        f"{one.shape.upper()} strip over {one.span_mm:.0f} mm, {one.paper_mm:.0f} mm of paper, "
        f"tension {one.share:.0%} of what the tape can give"
        for one in row.plan.strips.all()
    ]
    notes = [*strips, row.plan.reason, row.ending_note]
    period = {"start": _at(row.applied_at)} | ({"end": _at(row.ended_at)} if row.ended_at else {})
    return _without_empty(
        {
            "resourceType": "Procedure",
            "id": str(row.pk),
            "status": "completed" if row.ended_at else "in-progress",
            "code": {"text": "Elastic therapeutic tape"},
            "subject": _ref(base, "Patient", row.patient_id),
            "performedPeriod": period,
            "performer": [{"actor": _ref(base, "Practitioner", row.therapist_id)}],
            "bodySite": [{"text": place_words(row.region, row.side)}],
            "outcome": {"text": row.get_ended_how_display()} if row.ended_how else None,
            "note": [{"text": text} for text in notes if text],
        }
    )


def _pain(row: PainScore, tape: Application, base: str) -> Resource:
    return {
        "resourceType": "Observation",
        "id": f"pain-{row.pk}",
        "status": "final",
        "code": {"text": f"Pain from 0 to 10, {row.get_moment_display()}"},
        "subject": _ref(base, "Patient", tape.patient_id),
        "partOf": [_ref(base, "Procedure", tape.pk)],
        "effectiveDateTime": _at(row.said_at),
        "valueInteger": row.score,
    }


def _report(row: SkinReport, base: str) -> Resource:
    signs = ", ".join(sign.replace("_", " ") for sign in row.signs) or "no sign named"
    return _without_empty(
        {
            "resourceType": "Observation",
            "id": f"skin-{row.pk}",
            "status": "final" if row.closed_at else "preliminary",
            "code": {"text": "Skin under or after tape, as reported"},
            "subject": _ref(base, "Patient", row.patient_id),
            "partOf": [_ref(base, "Procedure", row.application_id)] if row.application_id else [],
            "effectiveDateTime": _at(row.reported_at),
            "performer": [_ref(base, "Practitioner", row.graded_by_id)] if row.graded_by_id else [],
            "valueString": signs,
            "interpretation": [{"text": f"{row.kind} {row.grade}".strip()}] if row.kind else [],
            "note": [{"text": text} for text in (row.words, row.advice, row.advised) if text],
        }
    )


def _message(row: Message, base: str) -> Resource:
    return _without_empty(
        {
            "resourceType": "Communication",
            "id": str(row.pk),
            "status": _MESSAGE[row.state],
            "category": [{"text": row.kind.replace("_", " ")}],
            "medium": [{"text": row.get_channel_display()}] if row.channel else [],
            "subject": _ref(base, "Patient", row.patient_id),
            "sent": _at(row.settled_at) if row.state == "sent" and row.settled_at else None,
            "payload": [{"contentString": row.text}] if row.text else [],
        }
    )


def _telecom(row: Patient | Helper) -> list[dict[str, str]]:
    found = [{"system": "phone", "value": row.phone}, {"system": "email", "value": row.email}]
    return [one for one in found if one["value"]]


def _coded(system: str, code: str) -> Resource:
    return {"coding": [{"system": system, "code": code}]}


def _at(moment: datetime) -> str:
    return moment.isoformat(timespec="seconds")


def _urn(base: str, kind: str, key: object) -> str:
    return f"urn:uuid:{uuid5(NAMESPACE_URL, f'{base}/{kind}/{key}')}"


def _ref(base: str, kind: str, key: object) -> dict[str, str]:
    return {"reference": _urn(base, kind, key)}


def _without_empty(resource: Resource) -> Resource:
    """FHIR forbids empty strings and lists (R4B, 2.6.2)."""
    return {name: value for name, value in resource.items() if value not in (None, "", [])}
