"""The pages that are measured, and the walk that asks for each of them once."""

import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from time import perf_counter
from typing import Any
from urllib.parse import quote

from django.db import connection, models
from django.test import Client
from django.urls import reverse

from clinic.models import Helper, Patient, PatientImport, User, Visit
from clinic.selectors import SEARCH_LIMIT
from clinic.services.events import Actor
from clinic.services.imports import import_begin, import_check, import_choose
from clinic.views.session import PROVED
from reminders.bench.company import BenchError
from reminders.bench.crowd import person_name, person_phone
from reminders.models import BatchSheet, CallItem, SheetBatch
from reminders.selectors.outbox import MOST_PAGES
from reminders.services.links import link_token
from taping.models import Application, SkinReport, SkinScreen, StripPlan, TapeRoll

HOST = "127.0.0.1"
SAMPLE = 200
"""From how many patients, tapes and so on, taken at random from all of them, a page's rows are chosen in turn."""


@dataclass(slots=True)
class Sample:
    """What the pages are asked about. choose: of a list of things, the one whose turn it is."""

    patients: int
    turn: int = 0
    things: dict[str, list[Any]] = field(default_factory=dict)

    def choose(self, what: str) -> Any:
        things = self.things[what]
        return things[self.turn % len(things)]

    def person(self) -> int:
        """The number of a patient who was put in, another one each turn."""
        return self.turn * 7919 % self.patients


Ask = Callable[[Sample], str]


@dataclass(frozen=True, slots=True)
class Page:
    """A page, or one face of it, after a colon; user: the log-in name of who asks, "locked", or nobody."""

    name: str
    ask: Ask
    user: str = "mona"
    headers: Mapping[str, str] = field(default_factory=dict)


def _plain(name: str, user: str = "mona", query: str = "", **headers: str) -> Page:
    address = name.partition(":")[0]
    return Page(name, lambda sample: reverse(address) + query, user, headers)


def _of(name: str, what: str, query: str = "", user: str = "mona") -> Page:
    address = name.partition(":")[0]
    return Page(name, lambda sample: reverse(address, args=[sample.choose(what)]) + query, user)


def _search(name: str, words: Callable[[Sample], str]) -> Page:
    return Page(f"search:{name}", lambda sample: f"{reverse('patients')}?q={quote(words(sample))}")


def _link(sample: Sample) -> str:
    return reverse("link_page", args=[link_token(sample.choose("tapes_on_skin"))])


def _day(offset: int) -> str:
    return (datetime.now(UTC).date() + timedelta(days=offset)).isoformat()


def _born(sample: Sample) -> str:
    return (date(1930, 1, 1) + timedelta(days=sample.person() * 7919 % 32_000)).strftime("%m/%d/%Y")


SEARCHES = (
    _search("part of a name", lambda sample: person_name(sample.person()).split()[1][1:6]),
    _search("three letters", lambda sample: person_name(sample.person()).split()[1][:3]),
    _search("two letters", lambda sample: person_name(sample.person()).split()[1][:2]),
    _search("one letter", lambda sample: person_name(sample.person())[0]),
    _search("whole name", lambda sample: person_name(sample.person())),
    _search("number", lambda sample: person_phone(sample.person())[2:]),
    _search("four digits", lambda sample: person_phone(sample.person())[-4:]),
    _search("birth date", _born),
    _search("nobody", lambda sample: "nobody of that name"),
    _search("signs", lambda sample: "%_'"),
    _search("very long", lambda sample: "long " * 60),
)

PAGES: tuple[Page, ...] = (
    _plain("log_in", ""), _plain("locked", "locked"),
    _plain("today"), _plain("today:desk", "dana"), _plain("today:therapist", "thea"),
    _plain("today_live", HX_REQUEST="true"),
    _plain("patients"), Page("patients:a late page", lambda sample:
                             f"{reverse('patients')}?page={max(1, sample.patients // SEARCH_LIMIT - 1)}"),
    *SEARCHES,
    _plain("patient_add"), _plain("walk_in"),
    _of("patient_page", "patients"), _of("patient_page:desk", "patients", user="dana"),
    _of("patient_change", "patients"), _of("helper_add", "patients"), _of("helper_change", "helpers"),
    _plain("import_begin"), _of("import_page", "imports"), _of("import_page:columns", "imports", "?columns=1"),
    _plain("settings"), _of("therapist_hours", "therapists"), _plain("first_steps"), _plain("keeping"),
    _plain("languages"), _of("patient_erase", "patients"), _plain("account"), _plain("account_log_ins"),
    _plain("staff"), _plain("staff_add"), _of("staff_person", "therapists"), _plain("my_calendar"),
    _plain("events"), _of("patient_seen", "patients"),
    Page("events:of somebody", lambda sample: f"{reverse('events')}?patient={quote(person_name(sample.person()))}"),
    _plain("diary"), _plain("diary:week", query="?view=week"),
    Page("diary:a past day", lambda sample: f"{reverse('diary')}?day={_day(-3)}"),
    Page("visit_book", lambda sample: f"{reverse('visit_book')}?patient={sample.choose('patients')}"),
    Page("visit_book:whom", lambda sample: f"{reverse('visit_book')}?q={quote(person_name(sample.person()))}"),
    _of("visit_page", "visits"), _of("visit_move", "visits_ahead"), _of("visit_calendar", "visits"),
    _of("screen_new", "patients"), _of("screen_new:questions", "patients", "?region=ankle&side=right"),
    _of("screen_page", "screens"), _of("screen_sheet", "screens_held"), _of("plan_page", "drafts"),
    _plain("rolls"), _of("roll_measure", "rolls"),
    _of("application_page", "tapes"), _of("application_page:on the skin", "worn"),
    _of("application_correct", "tapes"), _of("application_end", "worn"), _of("report_new", "worn"),
    _of("strip_events", "worn"), _of("call_work", "calls"), _of("report_page", "reports"),
    _plain("messages"), _plain("messages:next", query="?show=next"), _plain("messages:went", query="?show=went"),
    _plain("messages:dropped", query="?show=dropped"),
    Page("messages:went, a late page", lambda sample:
         f"{reverse('messages')}?show=went&page={min(MOST_PAGES, max(1, sample.patients // 4))}"),
    _plain("messages:of a kind", query="?show=went&kind=skin_follow_up"),
    _plain("messages:of a rare kind", query="?show=went&kind=visit_cancelled"),
    _plain("messages:by text", query="?show=went&channel=sms"),
    _plain("messages:one state", query="?show=needs&state=missed"),
    Page("messages:of a day", lambda sample: f"{reverse('messages')}?show=went&day={_day(-4)}"),
    Page("messages:of somebody", lambda sample:
         f"{reverse('messages')}?show=went&patient={quote(person_name(sample.person()))}"),
    Page("messages:of many", lambda sample: f"{reverse('messages')}?show=went&patient=a"),
    _plain("message_texts"),
    _plain("texts"), Page("text_edit", lambda sample: reverse("text_edit", args=["en", "removal_day"])),
    _plain("sheets"), _of("sheet_batch", "batches"),
    Page("link_page", _link, ""), Page("link_answer", lambda sample: f"{_link(sample)}skin/", ""),
    Page("link_page:unknown", lambda sample: reverse("link_page", args=["nobodys-link"]), ""),
    Page("stop_page", lambda sample:
         reverse("stop_page", args=[link_token(sample.choose("tapes_on_skin"), "stop")]), ""),
)  # fmt: skip
ANSWERS = {"link_page:unknown": 404}


def _some(rows: models.QuerySet[Any], choose: random.Random) -> list[int]:
    keys = list(rows.order_by("pk").values_list("pk", flat=True))
    return choose.sample(keys, min(SAMPLE, len(keys)))


def props_make(now: datetime) -> None:
    """The few things that pages need beside the crowd: plans begun, screens that permit no tape, a list, sheets."""
    mona = User.objects.get(username="mona")
    for number, patient in enumerate(Patient.objects.order_by("pk")[:20]):
        outcome = "do_not_tape" if number % 4 == 0 else "clear"
        screen = SkinScreen.objects.create(
            patient=patient, asked_by=mona, made_at=now, saved_at=now, region="wrist", side="left", answers={},
            outcome=outcome, goal="ease_pain",
        )  # fmt: skip
        if outcome == "clear":
            StripPlan.objects.create(screen=screen, made_by=mona, made_at=now, saved_at=now, goal="ease_pain")
    TapeRoll.objects.bulk_create([TapeRoll(name="Tape", colour=colour) for colour in ("blue", "black", "beige")])
    batch = SheetBatch.objects.create(kind="aftercare", day=now.date(), made_by=mona, made_at=now)
    tapes = Application.objects.filter(ended_at=None).order_by("pk")[:30]
    BatchSheet.objects.bulk_create(
        BatchSheet(batch=batch, application=tape, position=position) for position, tape in enumerate(tapes, 1)
    )
    _list_make(now)


def _list_make(now: datetime) -> None:
    lines = (f"{person_name(number)},1985-03-04,,,L-{number},\n" for number in range(100_000, 100_400))
    text = "name,born,phone,email,external_id,note\n" + "".join(lines)
    actor = Actor(word="bench")
    of = import_begin(actor=actor, now=now, file_name="list.csv", pieces=[text.encode()])
    of = import_choose(actor=actor, now=now, of=of, codec="", delimiter=",", mapping=None, order=None)
    import_check(of=of, today=now.date(), chunks=4)


def sample_take(patients: int, now: datetime) -> Sample:
    """Whom and what the walks ask about, the same for the same crowd."""
    choose = random.Random(11)
    worn = Application.objects.filter(ended_at=None)
    things = {
        "patients": Patient.objects.all(), "helpers": Helper.objects.all(), "imports": PatientImport.objects.all(),
        "therapists": User.objects.filter(is_therapist=True), "visits": Visit.objects.all(),
        "visits_ahead": Visit.objects.filter(starts_at__gt=now, state="booked"),
        "screens": SkinScreen.objects.filter(outcome="clear"),
        "screens_held": SkinScreen.objects.filter(outcome="do_not_tape"),
        "drafts": StripPlan.objects.filter(application=None), "rolls": TapeRoll.objects.all(),
        "tapes": Application.objects.all(), "worn": worn, "calls": CallItem.objects.all(),
        "reports": SkinReport.objects.all(), "batches": SheetBatch.objects.all(),
    }  # fmt: skip
    found: dict[str, list[Any]] = {name: _some(rows, choose) for name, rows in things.items()}
    found["tapes_on_skin"] = list(worn.filter(pk__in=found["worn"]).order_by("pk"))
    missing = [name for name, rows in found.items() if not rows]
    if missing:
        raise BenchError(f"so small a clinic has no {', '.join(missing)}: make it larger")
    return Sample(patients, things=found)


class Walk:
    """Somebody of each kind, logged in, who goes over all pages again and again."""

    def __init__(self, sample: Sample) -> None:
        self.sample = sample
        self.clients = {"": Client(SERVER_NAME=HOST)}
        for name in ("mona", "dana", "thea", "locked"):
            user = User.objects.get(username="mona" if name == "locked" else name)
            self.clients[name] = Client(SERVER_NAME=HOST)
            self.clients[name].force_login(user, backend="django.contrib.auth.backends.ModelBackend")
            session = self.clients[name].session
            session[PROVED] = True
            session.save()
        self.clients["locked"].post(reverse("lock"))

    def once(self) -> dict[str, tuple[float, int]]:
        """Milliseconds and queries of each page, asked once. Raises BenchError for a page that is none."""
        self.sample.turn += 1
        return {page.name: self._ask(page) for page in PAGES}

    def _ask(self, page: Page) -> tuple[float, int]:
        address, count = page.ask(self.sample), [0]

        def counted(execute: Any, *rest: Any) -> Any:
            count[0] += 1
            return execute(*rest)

        headers = {f"HTTP_{name}": value for name, value in page.headers.items()}
        if not page.user:
            # Strangers of many houses (RFC 5737, 3): one alone that walks as often would be told to come back later.
            headers["REMOTE_ADDR"] = f"198.51.100.{self.sample.turn % 256}"
        with connection.execute_wrapper(counted):
            begun = perf_counter()
            answer = self.clients[page.user].get(address, **headers)  # type: ignore[arg-type]  # headers as WSGI has them
            taken = perf_counter() - begun
        if answer.status_code != ANSWERS.get(page.name, 200):
            raise BenchError(f"{page.name} answered {answer.status_code} at {address}")
        return taken * 1000, count[0]
