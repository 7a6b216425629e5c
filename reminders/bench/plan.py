"""How long the strip plan takes to redraw: the whole answer to one change, as the server makes it."""

from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import timedelta
from statistics import quantiles
from time import perf_counter, process_time

from django.conf import settings
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from clinic.models import Clinic, Patient, User
from taping.models import SkinScreen, StripPlan
from taping.rules.places import REGIONS
from taping.rules.skin import QUESTIONS

SPANS_MM = range(180, 580, 4)
SHAPES = ("i", "y", "fan", "web", "x", "donut")
WARM_UP = 20


class NothingToMeasure(Exception):
    """The database has no clinic yet."""


@dataclass(frozen=True, slots=True)
class PlanFigures:
    """Milliseconds of one redraw: middleware, log-in, database, cut, drawing and template; the network is not in it.

    The figures with cpu count this process alone: on a busy machine they say what the others do not take away.
    """

    redraws: int
    p50_ms: float
    p95_ms: float
    slowest_ms: float
    p50_cpu_ms: float
    p95_cpu_ms: float
    queries: int

    def as_dict(self) -> dict[str, float]:
        return asdict(self)


def measure(*, repeats: int) -> PlanFigures:
    """repeats: how often a hundred different spans are gone through. Everything it writes is rolled back.

    Raises NothingToMeasure on an empty database.
    """
    if not Clinic.objects.exists():
        raise NothingToMeasure("This database has no clinic yet: run manage.py demo --no-serve first.")
    with transaction.atomic():
        try:
            return _measured(repeats)
        finally:
            transaction.set_rollback(True)


def _measured(repeats: int) -> PlanFigures:
    address, client = plan_begin()
    host = next((host.lstrip(".") for host in settings.ALLOWED_HOSTS if host != "*"), "127.0.0.1")

    def redraw(number: int) -> tuple[float, float]:
        form = change(SPANS_MM[number % len(SPANS_MM)], SHAPES[number % len(SHAPES)])
        begun, worked = perf_counter(), process_time()
        answer = client.post(address, form, headers={"host": host, "HX-Request": "true"})
        taken, work = perf_counter() - begun, process_time() - worked
        if answer.status_code != 200 or b"large-number" not in answer.content:
            raise AssertionError(f"no cut came back: {answer.status_code}")
        return taken * 1000, work * 1000

    for number in range(WARM_UP):
        redraw(number)
    taken = [redraw(number) for number in range(repeats * len(SPANS_MM))]
    wall, cpu = (quantiles(column, n=20) for column in zip(*taken, strict=True))
    return PlanFigures(
        redraws=len(taken),
        p50_ms=round(wall[9], 1),
        p95_ms=round(wall[18], 1),
        slowest_ms=round(max(one for one, _ in taken), 1),
        p50_cpu_ms=round(cpu[9], 1),
        p95_cpu_ms=round(cpu[18], 1),
        queries=_queries(redraw),
    )


def _queries(redraw: Callable[[int], object]) -> int:
    with CaptureQueriesContext(connection) as asked:
        redraw(0)
    return len(asked)


def plan_begin() -> tuple[str, Client]:
    """The address that redraws a fresh plan, and somebody logged in who may use it."""
    now = timezone.now()
    user = User.objects.create(username="bench-plan", full_name="Bench", is_therapist=True)
    patient = Patient.objects.create(full_name="Bench Quill")
    screen = SkinScreen.objects.create(
        patient=patient,
        asked_by=user,
        made_at=now - timedelta(minutes=1),
        region="knee" if "knee" in REGIONS else next(iter(REGIONS)),
        side="left",
        goal="ease_pain",
        answers={question.key: "no" for question in QUESTIONS},
        outcome="clear",
    )
    plan = StripPlan.objects.create(
        screen=screen, made_by=user, made_at=now, saved_at=now, saved_by=user, goal="ease_pain"
    )
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return reverse("plan_cut", args=[plan.pk]), client


def change(span_mm: int, shape: str) -> dict[str, str]:
    return {
        "span": f"{span_mm} mm",
        "by": "tension",
        "tension": "20",
        "shape": shape,
        "start": "one_end",
        "direction": "none",
        "anchor_first": "50 mm",
        "anchor_last": "50 mm",
    }
