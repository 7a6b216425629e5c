"""Every address for every kind of person, asked for real: who may is written in tests/data/who_may.txt and read by eye.

A new address fails here until its line is in that file: python manage.py who_may > tests/data/who_may.txt
"""

import re
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
from django.db import models, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinic.management.commands.who_may import COLUMNS, line
from clinic.models import Clinic, Closure, Event, Helper, Patient, User, Visit
from clinic.views.who_may import Door, doors
from reminders.demo.loading import demo_load, patient_link
from reminders.demo.reading import fixtures_read
from reminders.models import BatchSheet, CallItem, Message, SheetBatch
from taping.models import Application, ScreenDraft, SkinReport, SkinScreen, StripEvent, StripPlan, TapeRoll
from tests.browser.pages import demo_draft, demo_list
from tests.factories import UserFactory

TABLE = Path(__file__).resolve().parents[1] / "data" / "who_may.txt"
BACKEND = "django.contrib.auth.backends.ModelBackend"
ROLES = {"front_desk": "desk", "therapist": "", "student": "student", "manager": "manager"}
REFUSED = 403
LEAD_OUT = ("log_out", "change_user")
"""Addresses that end the log-in, by a post alone."""
ASKS_MORE = ("pain_save", "plan_use_last")
"""Addresses whose post needs one more thing that is not there: a word of the form, an earlier plan."""
NOTHING: Mapping[str, int] = defaultdict(lambda: 987_654)


def test_the_table_is_what_the_code_says() -> None:
    assert TABLE.read_text().splitlines() == [line(door).rstrip() for door in doors()]


@pytest.fixture
def rows(db: None) -> dict[str, int]:
    """The key of something that exists, by the beginning of the addresses that name it."""
    demo_load(fixtures_read(), timezone.now())
    tape = Application.objects.filter(ended_at=None).latest("applied_at")
    therapist = User.objects.filter(is_therapist=True, is_manager=False).earliest("id")
    now = timezone.now()
    draft = ScreenDraft.objects.create(
        patient=tape.patient, region="elbow", side="left", begun_by=therapist, begun_at=now, saved_by=therapist,
        saved_at=now,
    )  # fmt: skip
    batch = SheetBatch.objects.create(kind="aftercare", day=tape.removal_day, made_by=therapist, made_at=timezone.now())
    BatchSheet.objects.create(batch=batch, application=tape, position=1)
    made: dict[str, models.Model] = {
        "patients": tape.patient,
        "patients/import": demo_list("name\nAna Reis\n"),
        "helpers": Helper.objects.earliest("id"),
        "visits": Visit.objects.filter(state="booked").latest("starts_at"),
        "settings/staff": therapist,
        "settings/therapists": therapist,
        "settings/away": Closure.objects.create(day="2031-12-24", therapist=therapist),
        "settings/closures": Closure.objects.create(day="2031-12-25"),
        "applications": tape,
        "screens": SkinScreen.objects.get(outcome="do_not_tape"),
        "screen-drafts": draft,
        "plans": demo_draft(),
        "rolls": TapeRoll.objects.earliest("id"),
        "strip-events": StripEvent.objects.create(
            application=tape, what="edge_trimmed", at=now, saved_at=now, saved_by=therapist
        ),
        "reports": SkinReport.objects.earliest("id"),
        "calls": CallItem.objects.earliest("id"),
        "messages": Message.objects.earliest("id"),
        "sheets": batch,
    }
    return {before: int(row.pk) for before, row in made.items()}


def address(door: Door, rows: Mapping[str, int]) -> str:
    """An address of something that exists; words in it that are no keys are nobody's."""
    begins = re.match(r"[^<]*?(?=/<int:pk>)", door.route)
    keys: dict[str, Any] = {"pk": rows[begins.group()]} if begins else {}
    for kind, name in re.findall(r"<(\w+):(\w+)>", door.route):
        keys.setdefault(name, 1 if kind == "int" else "nobodys")
    return reverse(door.name, kwargs=keys)


class Undone(Exception):
    """Takes back what an asked address did."""


def asked(client: Client, method: str, wanted: str) -> int:
    """The status that the address answers with, as 401 where it leads to the log-in; nothing it does stays."""
    answer: Any = None
    try:
        with transaction.atomic():
            answer = getattr(client, method)(wanted)
            raise Undone
    except Undone:
        pass
    leads = answer.headers.get("Location", "") if answer.status_code == 302 else ""
    return 401 if leads.startswith(reverse("log_in")) else int(answer.status_code)


def as_role(role: str) -> Callable[[], Client]:
    user = UserFactory(**{ROLES[role]: True}) if ROLES[role] else UserFactory()

    def make() -> Client:
        client = Client(raise_request_exception=False)
        client.force_login(user, backend=BACKEND)
        return client

    return make


def as_patient() -> Client:
    """Whoever opened a patient's link before."""
    client = Client()
    assert client.get(patient_link().partition("//")[2].partition("/")[1] + patient_link().split("/", 3)[3])
    return client


def cells(door: Door, rows: dict[str, int], people: dict[str, Callable[[], Client]]) -> Iterator[str]:
    """What is wrong with each cell of one line."""
    wanted = address(door, rows)
    for who, make in people.items():
        for method in ("get", "post", "delete"):
            got = asked(make(), method, wanted)
            if not fits(door, who, method, got):
                yield f"{who} {method} {wanted}: {got}"


def fits(door: Door, who: str, method: str, got: int) -> bool:
    """Whether a status is what the table promises. Where the key is of something that exists, nothing is missing."""
    if door.open:
        return got < 500
    if who in ("stranger", "patient"):
        return got == 401
    if not door.may(who):
        return got == REFUSED
    if door.name in LEAD_OUT:
        return got == (401 if method == "post" else 405)
    return got not in (401, REFUSED) and got < 500 and (got != 404 or not named_whole(door, method))


def named_whole(door: Door, method: str) -> bool:
    """Whether all that is asked for exists: words and places in an address are made up here, keys are not."""
    asks_more = method == "post" and door.name in ASKS_MORE
    return not asks_more and re.findall(r"<\w+:(\w+)>", door.route) in ([], ["pk"])


@pytest.mark.django_db
def test_every_cell_holds(rows: dict[str, int]) -> None:
    assert Patient.objects.exists()
    people: dict[str, Callable[[], Client]] = {role: as_role(role) for role in ROLES}
    people |= {"stranger": Client, "patient": as_patient}
    assert set(people) - {"patient"} == set(COLUMNS)
    assert [wrong for door in doors() for wrong in cells(door, rows, people)] == []


@pytest.mark.django_db
@pytest.mark.parametrize("role", sorted(ROLES))
def test_what_does_not_exist_is_found_by_nobody(clinic: Clinic, role: str) -> None:
    """The same answer for every number nobody has, whatever it would have been; who may not is refused all the same."""
    make = as_role(role)
    found = {
        (door.name, method): (asked(make(), method, address(door, NOTHING)), door.may(role))
        for door in doors()
        for method in ("get", "post")
        if "<int:pk>" in door.route
    }
    assert {status for (_, method), (status, may) in found.items() if may and method == "get"} <= {404, 405}, found
    assert {key: status for key, (status, may) in found.items() if not may and status != REFUSED} == {}


def patients_of(rows: dict[str, int]) -> dict[str, int]:
    """The key of the patient that the row is about, by the beginnings of the addresses that name a patient's record."""
    return {
        "patients": rows["patients"],
        "helpers": Helper.objects.get(pk=rows["helpers"]).patient_id,
        "visits": Visit.objects.get(pk=rows["visits"]).patient_id,
        "applications": Application.objects.get(pk=rows["applications"]).patient_id,
        "screens": SkinScreen.objects.get(pk=rows["screens"]).patient_id,
        "plans": StripPlan.objects.get(pk=rows["plans"]).screen.patient_id,
        "reports": SkinReport.objects.get(pk=rows["reports"]).patient_id,
        "calls": CallItem.objects.get(pk=rows["calls"]).patient_id,
    }


def pages_of_patients(rows: dict[str, int]) -> Iterator[tuple[str, str, int]]:
    """Name and address of each door that leads to one patient's record, and the key of that patient."""
    patients = patients_of(rows)
    yield "visit_book", f"{reverse('visit_book')}?patient={rows['patients']}", rows["patients"]
    for door in doors():
        before, key, _ = door.route.partition("/<int:pk>/")
        if key and before in patients:
            yield door.name, address(door, rows), patients[before]


@pytest.mark.django_db
def test_every_page_about_a_patient_says_who_read_it(rows: dict[str, int]) -> None:
    """Whoever may open it: what is shown of a patient's record leaves an event that names patient and reader."""
    shown, silent = set[str](), list[str]()
    pages = list(pages_of_patients(rows))
    for mark in ROLES.values():
        user = UserFactory(**{mark: True}) if mark else UserFactory()
        client = Client(raise_request_exception=False)
        client.force_login(user, backend=BACKEND)
        for name, wanted, patient in pages:
            told = Event.objects.filter(patient=patient, actor=user)
            before = told.count()
            if client.get(wanted).status_code != 200:
                continue
            shown.add(name)
            silent += [] if told.count() > before else [f"{user} {wanted}"]
    assert silent == []
    assert {"call_work", "helper_add", "helper_change", "patient_erase", "report_page", "screen_page"} <= shown
    assert {"screen_sheet", "strip_events", "report_new", "application_end", "application_correct"} <= shown
    assert {"visit_book", "visit_move", "visit_page", "plan_page", "patient_page"} <= shown
