"""The rehearsed clinic is made through the services, so that it can do what a real one can, and no more."""

from datetime import UTC, datetime, time, timedelta
from typing import Any

import pytest

from clinic.models import Clinic, Closure, Event, OpeningHours, Patient, Visit
from clinic.services.visits import VisitRefused
from reminders.rehearsal.acting import act
from reminders.rehearsal.company import Company, company_make, tape_put_on, visit_put_down
from reminders.rehearsal.reading import read_scenario
from reminders.rehearsal.scenario import EventPart, Scenario
from reminders.rehearsal.ways import Ways
from taping.models import Application, SkinScreen, Strip, StripPlan
from taping.services.refusals import TapingRefused
from tests.reminders.rehearsal.playing import patient, tape, week

pytestmark = pytest.mark.django_db

ON = datetime(2027, 3, 2, 15, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)
VISIT = {"ref": "v", "patient": "p", "application": "a", "starts_at": "2027-03-06T15:00:00Z"}


def _company(**changes: Any) -> tuple[Scenario, Company]:
    scenario = read_scenario(week(**changes))
    return scenario, company_make(scenario.clinic, scenario.patients, scenario.starts_at)


def test_the_clinic_is_as_the_file_says() -> None:
    clinic = {
        "time_zone": "Europe/London", "quiet_from": "22:30", "quiet_until": "07:15", "closed_on": ["2027-03-26"],
        "open": {"tue": ["09:00", "12:00"]}, "adhesion_wait_minutes": 45, "wear_first_day": 2, "wear_last_day": 3,
        "optional_messages": ["removal_eve"],
    }  # fmt: skip
    _company(clinic=clinic)
    row = Clinic.objects.get()
    assert (row.time_zone, row.quiet_from, row.quiet_until) == ("Europe/London", time(22, 30), time(7, 15))
    assert (row.adhesion_minutes, row.wear_first_day, row.wear_last_day) == (45, 2, 3)
    assert row.optional_messages == ["removal_eve"]
    assert list(OpeningHours.objects.values_list("weekday", "opens", "closes")) == [(1, time(9), time(12))]
    assert [one.day.isoformat() for one in Closure.objects.all()] == ["2027-03-26"]


def test_patients_are_as_the_file_says() -> None:
    _company(patients=[patient(consents=False, prefers="email", time_zone="Asia/Tokyo")], applications=[])
    row = Patient.objects.get()
    assert (row.full_name, row.call_me, row.phone, row.email) == (
        "Ada Quill",
        "Ada",
        "+12125550123",
        "ada@example.org",
    )
    assert (row.consents, row.prefers, row.time_zone, row.consent_at) == (False, "email", "Asia/Tokyo", None)


def test_a_tape_has_its_screen_plan_and_strip_and_its_events() -> None:
    scenario, company = _company(applications=[tape(caution=True, removal="helper")])
    tape_put_on(company, scenario.applications[0], ON)
    made = Application.objects.get()
    assert (made.pk, made.applied_at, made.saved_at) == (company.applications["a"], ON, ON)
    assert (made.removal, made.caution, made.first_application) == ("helper", True, True)
    assert (SkinScreen.objects.get().outcome, Strip.objects.get().plan_id) == ("clear_with_care", made.plan_id)
    verbs = ["screen.recorded", "plan.started", "plan.strip_added", "application.started"]
    assert list(Event.objects.filter(at=ON).order_by("id").values_list("verb", flat=True)) == verbs


@pytest.mark.parametrize("removal", ["home", "helper", "clinic"])
@pytest.mark.parametrize("caution", [False, True])
def test_whoever_takes_it_off_a_caution_speaks_not_against_it(removal: str, caution: bool) -> None:
    scenario, company = _company(applications=[tape(caution=caution, removal=removal)])
    tape_put_on(company, scenario.applications[0], ON)
    assert Application.objects.get().removal == removal


def test_a_refused_tape_leaves_no_draft_behind() -> None:
    scenario, company = _company(applications=[tape(), tape(ref="b")])
    tape_put_on(company, scenario.applications[0], ON)
    with pytest.raises(TapingRefused, match="tape on this place"):
        tape_put_on(company, scenario.applications[1], ON + HOUR)
    assert (StripPlan.objects.count(), sorted(company.applications)) == (1, ["a"])


def test_visits_at_one_hour_do_not_stand_in_each_others_way() -> None:
    rows = [{**VISIT, "application": None}, {**VISIT, "ref": "w", "application": None}]
    scenario, company = _company(visits=rows)
    for part in scenario.visits:
        visit_put_down(company, part, ON)
    assert len({visit.therapist_id for visit in Visit.objects.all()}) == 2
    assert [(visit.ends_at - visit.starts_at).seconds for visit in Visit.objects.all()] == [1800, 1800]


def test_a_removal_visit_is_that_of_its_tape_alone() -> None:
    scenario, company = _company(applications=[tape(), tape(ref="b", side="right")], visits=[VISIT])
    for part in scenario.applications:
        tape_put_on(company, part, ON)
    visit_put_down(company, scenario.visits[0], ON + HOUR)
    held = {one.pk: one.removal_visit_id for one in Application.objects.all()}
    assert held == {company.applications["a"]: company.visits["v"], company.applications["b"]: None}
    assert company.visit_is_for == {company.visits["v"]: "a"}


def test_a_removal_visit_after_the_window_is_refused_whole() -> None:
    scenario, company = _company(visits=[{**VISIT, "starts_at": "2027-03-08T15:00:00Z"}])
    tape_put_on(company, scenario.applications[0], ON)
    with pytest.raises(VisitRefused, match="last day of the wear window"):
        visit_put_down(company, scenario.visits[0], ON)
    assert (Visit.objects.count(), company.visits) == (0, {})


@pytest.mark.parametrize(
    ("event", "words"),
    [
        ({"what": "off", "application": "a"}, "The tape 'a' never went on."),
        ({"what": "cancel", "visit": "v"}, "The visit 'v' was never booked."),
        ({"what": "sms", "patient": "q", "text": "STOP"}, "The patient 'q' has no telephone to write from."),
    ],
)
def test_what_is_not_there_cannot_act(event: dict[str, Any], words: str) -> None:
    silent = {"ref": "q", "name": "Bo Lind"}
    later = {"at": "2027-03-03T15:00:00Z", **event}
    scenario, company = _company(patients=[patient(), silent], visits=[VISIT], events=[later])
    with pytest.raises((TapingRefused, VisitRefused)) as refused:
        act(scenario.events[0], company, Ways(), ON)
    assert str(refused.value) == words


def test_an_event_nobody_knows_is_a_fault_of_the_program() -> None:
    _, company = _company()
    with pytest.raises(TypeError, match="EventPart cannot happen"):
        act(EventPart(ON, "events[0]"), company, Ways(), ON)
