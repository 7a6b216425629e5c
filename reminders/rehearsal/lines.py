"""What a play came to, as the objects of its JSON lines; times in UTC."""

import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from django.db.models import F, QuerySet

from clinic.selectors import clinic_get
from reminders.models import CallItem, Message
from reminders.rehearsal.company import Company
from reminders.rehearsal.scenario import Scenario
from reminders.selectors.tapes import tape_rows
from taping.models import Application

Line = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Names:
    """What rows are called in the output: by primary key; visit_is_for names the tape a visit was booked for."""

    patients: Mapping[int, str | int]
    applications: Mapping[int, str | int]
    visit_is_for: Mapping[int, str | int] = field(default_factory=dict)

    @classmethod
    def of(cls, company: Company, scenario: Scenario) -> "Names":
        """The names of the scenario file, in its order; a tape that never went on has none."""
        made = company.applications
        return cls(
            patients={patient.pk: ref for ref, patient in company.patients.items()},
            applications={made[part.ref]: part.ref for part in scenario.applications if part.ref in made},
            visit_is_for=dict(company.visit_is_for),
        )

    def tape(self, row: Message | CallItem) -> str | int | None:
        """The tape a row is about; a message about a visit is about the tape the visit was booked for."""
        if row.application_id is not None:
            return self.applications.get(row.application_id)
        visit = getattr(row, "visit_id", None)
        return self.visit_is_for.get(visit) if visit is not None else None


def all_lines(names: Names, at: datetime) -> Iterator[Line]:
    """Messages in the order in which they were settled, tapes in theirs, open calls in theirs. at: aware."""
    yield from message_lines(Message.objects.all(), names)
    yield from application_lines(Application.objects.filter(pk__in=names.applications), names, at)
    yield from call_lines(CallItem.objects.filter(closed_at=None), names)


def message_lines(rows: QuerySet[Message], names: Names) -> Iterator[Line]:
    """One object a message; those not settled yet come last."""
    ordered = rows.select_related("joined_to").order_by(F("settled_at").asc(nulls_last=True), "planned_for", "id")
    for row in ordered:
        yield {
            "type": "message",
            "application": names.tape(row),
            "patient": names.patients.get(row.patient_id),
            "kind": row.kind,
            "channel": row.channel or None,
            "to": row.address or None,
            "planned_for": moment(row.planned_for),
            "at": moment(row.settled_at),
            "state": row.state,
            "reasons": [*row.reasons, *([row.why] if row.why and row.why not in row.reasons else [])],
            "text": row.text,
            "attempts": row.attempts,
            "joined_to": (names.tape(row.joined_to) or names.patients.get(row.patient_id)) if row.joined_to else None,
        }


def application_lines(rows: QuerySet[Application], names: Names, at: datetime) -> Iterator[Line]:
    """One object a tape, in the order of names, with its state at `at` (aware)."""
    zone = clinic_get().zone
    found = {row.application.pk: row for row in tape_rows(rows, now=at, zone=zone)}
    for pk, name in names.applications.items():
        if pk not in found:
            continue
        application = found[pk].application
        yield {
            "type": "application",
            "ref": name,
            "opens_on": application.opens_on.isoformat(),
            "closes_on": application.closes_on.isoformat(),
            "removal_day": application.removal_day.isoformat(),
            "state": found[pk].state.value,
            "ended_at": moment(application.ended_at),
            "ended_how": application.ended_how or None,
        }


def call_lines(rows: QuerySet[CallItem], names: Names) -> Iterator[Line]:
    for item in rows.order_by("since", "id"):
        yield {
            "type": "call",
            "patient": names.patients.get(item.patient_id),
            "application": names.tape(item),
            "reason": item.reason,
            "since": moment(item.since),
        }


def moment(at: datetime | None) -> str | None:
    """ "2027-03-30T14:00:00Z"; None stays None."""
    return at.astimezone(UTC).isoformat().replace("+00:00", "Z") if at else None


def write_json(lines: Iterable[Line], write: Callable[[str], object]) -> None:
    """One object a line, ASCII only, so that no console can spoil it."""
    for line in lines:
        write(json.dumps(line) + "\n")
