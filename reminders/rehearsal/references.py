"""Checks that the parts of a scenario name each other rightly, and in an order that can be."""

from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from typing import Protocol, TypeVar

from reminders.rehearsal.parts import BadScenario
from reminders.rehearsal.scenario import (
    ApplicationPart,
    AskedToCall,
    Booked,
    Cancelled,
    Edited,
    Ended,
    Moved,
    PatientPart,
    Reported,
    Scenario,
    Texted,
    VisitPart,
)


class _Named(Protocol):
    @property
    def ref(self) -> str: ...


T = TypeVar("T", bound=_Named)


def check_references(scenario: Scenario) -> None:
    """Raises BadScenario for a name given twice, an unknown one, and an event about what is not there yet."""
    patients = _by_ref((f"patients[{n}]", one) for n, one in enumerate(scenario.patients))
    tapes = _by_ref((f"applications[{n}]", one) for n, one in enumerate(scenario.applications))
    for number, tape in enumerate(scenario.applications):
        _find(patients, tape.patient, f"applications[{number}].patient")
    visits = _by_ref(_visits(scenario))
    for path, visit in _visits(scenario):
        _check_visit(visit, path, patients, tapes)
    _check_events(scenario, patients, tapes, visits)


def _visits(scenario: Scenario) -> Iterator[tuple[str, VisitPart]]:
    for number, visit in enumerate(scenario.visits):
        yield f"visits[{number}]", visit
    for event in scenario.events:
        if isinstance(event, Booked):
            yield event.path, event.visit


def _check_visit(
    visit: VisitPart, path: str, patients: Mapping[str, PatientPart], tapes: Mapping[str, ApplicationPart]
) -> None:
    _find(patients, visit.patient, f"{path}.patient")
    if visit.application is None:
        return
    tape = _find(tapes, visit.application, f"{path}.application")
    if tape.patient != visit.patient:
        raise BadScenario(f"{path}.application", f"{visit.application!a} is on another patient than {visit.patient!a}")


def _check_events(
    scenario: Scenario,
    patients: Mapping[str, PatientPart],
    tapes: Mapping[str, ApplicationPart],
    visits: Mapping[str, VisitPart],
) -> None:
    booked_at = {event.visit.ref: event.at for event in scenario.events if isinstance(event, Booked)}
    for event in scenario.events:
        if isinstance(event, Ended | Reported | AskedToCall | Edited):
            tape = _find(tapes, event.application, f"{event.path}.application")
            _not_before(event.at, tape.applied_at, event.path, "the tape is on")
        elif isinstance(event, Texted):
            _find(patients, event.patient, f"{event.path}.patient")
        elif isinstance(event, Moved | Cancelled):
            visit = _find(visits, event.visit, f"{event.path}.visit")
            _not_before(event.at, booked_at.get(visit.ref, event.at), event.path, "the visit is booked")
        elif isinstance(event, Booked) and event.visit.application is not None:
            tape = tapes[event.visit.application]
            _not_before(event.at, tape.applied_at, event.path, "the tape is on")


def _by_ref(named: Iterable[tuple[str, T]]) -> dict[str, T]:
    found: dict[str, T] = {}
    for path, one in named:
        if one.ref in found:
            raise BadScenario(f"{path}.ref", f"{one.ref!a} was given before; give each a name of its own")
        found[one.ref] = one
    return found


def _find(known: Mapping[str, T], ref: str, path: str) -> T:
    if ref not in known:
        raise BadScenario(path, f"{ref!a} is nowhere in the file")
    return known[ref]


def _not_before(at: datetime, earliest: datetime, path: str, what: str) -> None:
    if at < earliest:
        raise BadScenario(f"{path}.at", f"is before {what}")
