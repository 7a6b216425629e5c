"""The clinic's numbers for time, their limits and where they come from."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass

from taping.rules.bounds import Bounds, OutOfBoundsError
from taping.rules.toml_data import load_table, text_of


class PolicyError(OutOfBoundsError):
    """Numbers that no clinic may set; the text lists every problem."""


@dataclass(frozen=True, slots=True)
class PolicyProblem:
    """One thing wrong with a policy: the field it stands at, and what would work."""

    field: str
    text: str


def _load_bounds() -> dict[str, Bounds]:
    return {
        row["key"]: Bounds(
            key=text_of(row, "key"),
            label=text_of(row, "label"),
            unit=text_of(row, "unit"),
            least=row["least"],
            greatest=row["greatest"],
            default=row["default"],
            source=text_of(row, "source"),
        )
        for row in load_table("policy")["number"]
    }


BOUNDS = _load_bounds()


def require_ordered_days(first_day: int, last_day: int) -> None:
    """Check that both days are within their limits and in order.

    Raises:
        OutOfBoundsError: otherwise.
    """
    BOUNDS["first_day"].check(first_day)
    BOUNDS["last_day"].check(last_day)
    if first_day > last_day:
        raise OutOfBoundsError(_disorder(first_day, last_day))


def _disorder(first_day: int, last_day: int) -> str:
    return (
        f"the wear window would begin on day {first_day} and end on day {last_day}; "
        f"give a first day of {last_day} or earlier, or a last day of {first_day} or later"
    )


@dataclass(frozen=True, slots=True)
class Policy:
    """Minutes and hours are elapsed time; days are calendar days in the clinic's zone.

    Raises:
        PolicyError: when a number is outside its limits, or the days are in the wrong order.
    """

    adhesion_minutes: int = BOUNDS["adhesion_minutes"].default
    water_minutes: int = BOUNDS["water_minutes"].default
    first_day: int = BOUNDS["first_day"].default
    last_day: int = BOUNDS["last_day"].default
    skin_rest_hours: int = BOUNDS["skin_rest_hours"].default
    drying_minutes: int = BOUNDS["drying_minutes"].default

    def __post_init__(self) -> None:
        problems = self.problems(asdict(self))
        if problems:
            raise PolicyError("; ".join(problem.text for problem in problems))

    @staticmethod
    def problems(values: Mapping[str, object]) -> tuple[PolicyProblem, ...]:
        """Return all that is wrong with ``values``, field by field; a field left out takes its usual value.

        Raises:
            PolicyError: when a field is no number of the policy.
        """
        unknown = [name for name in values if name not in BOUNDS]
        if unknown:
            raise PolicyError(f"{unknown[0]!r} is no number of the policy; there are {', '.join(BOUNDS)}")
        full = {name: values.get(name, bounds.default) for name, bounds in BOUNDS.items()}
        found = [(name, BOUNDS[name].problem(value)) for name, value in full.items()]
        problems = [PolicyProblem(name, text) for name, text in found if text is not None]
        first, last = full["first_day"], full["last_day"]
        if not problems and isinstance(first, int) and isinstance(last, int) and first > last:
            problems.append(PolicyProblem("last_day", _disorder(first, last)))
        return tuple(problems)

    @property
    def water_wait_minutes(self) -> int:
        """Minutes until sweat, shower and swimming: the longer of the two waits, since sweat is exercise too."""
        return max(self.water_minutes, self.adhesion_minutes)

    def cautions(self) -> tuple[str, ...]:
        """Return what is unusual about these numbers, though nothing forbids it."""
        if self.water_minutes >= self.adhesion_minutes:
            return ()
        return (
            f"Sweat and water would be allowed after {self.water_minutes} minutes, before the adhesion wait of "
            f"{self.adhesion_minutes} minutes is over; patients are told {self.water_wait_minutes} minutes.",
        )
