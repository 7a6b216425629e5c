"""The speed of the rules: cuts, verdicts, message plans, and the search for free times."""

import random
from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import cycle, islice
from zoneinfo import ZoneInfo

from clinic.rules.slots import free_times
from reminders.bench.timing import per_second, seconds
from reminders.rules.facts import ApplicationFacts, MessagePolicy
from reminders.rules.plan import plan_messages
from taping.rules.cut import cut_for_stretch
from taping.rules.skin import QUESTIONS, Answer, judge
from taping.rules.tape import Tape
from taping.rules.wear import wear_window

ZONE = ZoneInfo("America/New_York")
THERAPISTS = 20
DAYS = 60
BUSY_SPANS = 5_000


@dataclass(frozen=True, slots=True)
class RulesFigures:
    """Rates on one core; the search in milliseconds for all therapists together."""

    cuts_per_second: int
    verdicts_per_second: int
    plans_per_second: int
    free_times_ms: float

    def as_dict(self) -> dict[str, float]:
        return asdict(self)


def measure(*, repeats: int, count: int = 10_000) -> RulesFigures:
    """count: how many cuts one run computes; verdicts and plans are a fifth and a tenth of that."""
    return RulesFigures(
        cuts_per_second=round(_cuts(count, repeats)),
        verdicts_per_second=round(_verdicts(max(1, count // 5), repeats)),
        plans_per_second=round(_plans(max(1, count // 10), repeats)),
        free_times_ms=round(_search(repeats) * 1000, 1),
    )


def _cuts(count: int, repeats: int) -> float:
    chance = random.Random(1)
    tape = Tape()
    strips = [(chance.uniform(150, 600), chance.uniform(0, 0.75)) for _ in range(count)]
    return per_second(
        lambda: [cut_for_stretch(span, share, tape) for span, share in strips], count=count, repeats=repeats
    )


def _verdicts(count: int, repeats: int) -> float:
    chance = random.Random(2)
    screens = [
        {question.key: chance.choice((Answer.NO, Answer.NO, Answer.YES)) for question in QUESTIONS} for _ in range(50)
    ]
    asked = list(islice(cycle(screens), count))
    return per_second(lambda: [judge(answers) for answers in asked], count=count, repeats=repeats)


def _plans(count: int, repeats: int) -> float:
    policy = MessagePolicy()
    begun = datetime(2027, 3, 1, 15, tzinfo=UTC)
    facts = []
    for number in range(count):
        applied_at = begun + timedelta(hours=number % 500)
        window = wear_window(applied_at, ZONE)
        facts.append(
            ApplicationFacts(
                saved_at=applied_at,
                applied_at=applied_at,
                adhesion_minutes=20,
                water_minutes=60,
                opens_on=window.opens_on,
                closes_on=window.closes_on,
                removal_day=window.closes_on,
                clinic_zone=ZONE,
                caution=number % 3 == 0,
                first_application=number % 2 == 0,
            )
        )
    return per_second(lambda: [plan_messages(one, policy) for one in facts], count=count, repeats=repeats)


def _search(repeats: int) -> float:
    chance = random.Random(3)
    first = date(2027, 3, 1)
    hours = {weekday: [(time(8), time(12)), (time(13), time(18))] for weekday in range(5)}
    busy: list[list[tuple[datetime, datetime]]] = [[] for _ in range(THERAPISTS)]
    for number in range(BUSY_SPANS):
        day = first + timedelta(days=chance.randrange(DAYS))
        begins = datetime.combine(day, time(chance.randrange(8, 18), chance.choice((0, 15, 30, 45))), tzinfo=ZONE)
        busy[number % THERAPISTS].append((begins, begins + timedelta(minutes=30)))
    last = first + timedelta(days=DAYS - 1)

    def search() -> None:
        for spans in busy:
            free_times(first, last, hours=hours, closures=(), busy=spans, length_minutes=30, zone=ZONE)

    return seconds(search, repeats=repeats)
