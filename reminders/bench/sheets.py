"""The speed of sheets on paper beside the PDF library alone on the same HTML; speed and weight of the patient's page.

The tapes it needs are invented for it and taken back, whatever happens.
"""

from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from math import ceil
from re import findall
from statistics import median
from time import perf_counter, process_time
from uuid import uuid4

from django.contrib.staticfiles import finders
from django.db import transaction
from django.test import Client
from django.utils import timezone

from clinic.models import Clinic, Patient, User
from reminders.bench.plan import NothingToMeasure
from reminders.rules.paper import paper_for
from reminders.selectors.record import application_get
from reminders.services.links import link_token, links_keep
from reminders.sheets.aftercare import aftercare_sheet
from reminders.sheets.printing import Printed, fitted, print_html, print_plain
from taping.models import Application, SkinScreen, Strip, StripPlan
from taping.rules.clock import local_date
from taping.rules.places import REGIONS

HOST = "127.0.0.1"


@dataclass(frozen=True, slots=True)
class SheetFigures:
    """Sheets per second of this process's time on a core; the overhead over the library alone in percent of it.

    The patient's page in milliseconds by the clock and of this process alone, and in bytes before compression with
    its style and pictures.
    """

    sheets_per_second: float
    library_alone_per_second: float
    overhead_percent: float
    link_page_p95_ms: float
    link_page_p95_cpu_ms: float
    link_page_bytes: int
    link_page_requests: int

    def as_dict(self) -> dict[str, float]:
        return asdict(self)


def measure(*, repeats: int, sheets: int = 18, gets: int = 200) -> SheetFigures:
    """sheets: how many one run makes, a region each in turn; gets: how often the patient's page is asked for.

    Raises NothingToMeasure on a database without a clinic.
    """
    if not Clinic.objects.exists():
        raise NothingToMeasure("This database has no clinic yet: run manage.py demo --no-serve first.")
    with transaction.atomic():
        try:
            return _measured(Clinic.objects.get(), repeats, sheets, gets)
        finally:
            transaction.set_rollback(True)


def _measured(clinic: Clinic, repeats: int, sheets: int, gets: int) -> SheetFigures:
    tapes, now, paper = _tapes(clinic, sheets), timezone.now(), paper_for(clinic.country)
    whole, alone = [], []

    def html_of(tape: Application) -> str:
        return aftercare_sheet(_read(tape), clinic=clinic, now=now)

    def make(tape: Application) -> Printed:
        return print_html(html_of(tape), paper=paper, one_page=True)

    # Also the first look at how much room each one's words leave: of the same words it is taken once.
    htmls = [fitted(html_of(tape), make(tape).fit) for tape in tapes]

    for _ in range(repeats + 1):
        whole.append(_cpu_seconds(lambda: list(map(make, tapes))))
        alone.append(_cpu_seconds(lambda: [print_plain(html, paper=paper) for html in htmls]))
    full, library = median(whole[1:]), median(alone[1:])  # the first run loads fonts and styles
    (p95, p95_cpu), weight, requests = _link_page(tapes[0], gets)
    return SheetFigures(
        sheets_per_second=round(sheets / full, 2),
        library_alone_per_second=round(sheets / library, 2),
        overhead_percent=round((full / library - 1) * 100, 1),
        link_page_p95_ms=round(p95 * 1000, 1),
        link_page_p95_cpu_ms=round(p95_cpu * 1000, 1),
        link_page_bytes=weight,
        link_page_requests=requests,
    )


def _read(tape: Application) -> Application:
    found = application_get(tape.pk)
    if found is None:
        raise LookupError(f"application {tape.pk} vanished while it was measured")
    return found


def _cpu_seconds(work: Callable[[], object]) -> float:
    begun = process_time()
    work()
    return process_time() - begun


def _both_seconds(work: Callable[[], object]) -> tuple[float, float]:
    """By the clock, and of this process alone: on a busy machine they differ."""
    begun, begun_cpu = perf_counter(), process_time()
    work()
    return perf_counter() - begun, process_time() - begun_cpu


def _link_page(tape: Application, gets: int) -> tuple[tuple[float, float], int, int]:
    client, address = Client(SERVER_NAME=HOST), f"/t/{link_token(tape)}/"
    page = client.get(address).content.decode()
    taken = [_both_seconds(lambda: client.get(address)) for _ in range(gets)]
    pictures = [len(client.get(one).content) for one in findall(r'src="(/pictures/[^"]+)"', page)]
    style = finders.find("css/link.css")
    weight = len(page.encode()) + sum(pictures)
    if isinstance(style, str):
        with open(style, "rb") as file:
            weight += len(file.read())
    at = ceil(0.95 * gets) - 1
    return (sorted(wall for wall, _ in taken)[at], sorted(cpu for _, cpu in taken)[at]), weight, 2 + len(pictures)


def _tapes(clinic: Clinic, sheets: int) -> list[Application]:
    therapist = User.objects.create_user(f"bench-{uuid4()}", full_name="Thea Pist", is_therapist=True)
    regions = list(REGIONS.values())
    return [_tape(clinic, therapist, regions[number % len(regions)].key, number) for number in range(sheets)]


def _tape(clinic: Clinic, therapist: User, region: str, number: int) -> Application:
    now = datetime.now(UTC)
    patient = Patient.objects.create(full_name=f"Ada Quill {number}", call_me="Ada")
    side = REGIONS[region].sides[0]
    screen = SkinScreen.objects.create(
        patient=patient, asked_by=therapist, made_at=now, region=region, side=side, answers={}, outcome="clear"
    )
    plan = StripPlan.objects.create(screen=screen, made_by=therapist, made_at=now, saved_at=now, goal="ease_pain")
    Strip.objects.create(
        plan=plan, position=1, shape="i", start="one_end", direction="none", span_mm=300.0, paper_mm=286.0,
        anchor_first_mm=50.0, anchor_last_mm=50.0, stretch=0.25, share=0.625,
    )  # fmt: skip
    day = local_date(now, clinic.zone)
    tape = Application.objects.create(
        patient=patient, plan=plan, region=region, side=side, therapist=therapist, applied_at=now, saved_at=now,
        adhesion_minutes=20, water_minutes=60, opens_on=day + timedelta(days=4), closes_on=day + timedelta(days=5),
        removal_day=day + timedelta(days=5), first_application=True, caution=False,
    )  # fmt: skip
    links_keep(application=tape, zone=clinic.zone)
    return tape
