"""Limits of whole numbers, each with its unit and where it comes from."""

from dataclasses import dataclass


class OutOfBoundsError(ValueError):
    """A number outside its limits; the text names it and says what would work."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """The least, the greatest and the usual value of one whole number, both ends included."""

    key: str
    label: str
    unit: str
    least: int
    greatest: int
    default: int
    source: str

    def problem(self, value: object) -> str | None:
        """Return what is wrong with ``value`` and what would work, or None when it is within the limits."""
        # bool is an int in Python: a ticked box that reached a number would pass as one minute.
        if isinstance(value, int) and not isinstance(value, bool) and self.least <= value <= self.greatest:
            return None
        wanted = f"a whole number of {self.unit} from {self.least} to {self.greatest}"
        return f"{self.label} is {value!r}; it takes {wanted}"

    def check(self, value: int) -> int:
        """Return ``value`` when it is within the limits.

        Raises:
            OutOfBoundsError: otherwise, booleans, fractions and NaN included.
        """
        problem = self.problem(value)
        if problem is not None:
            raise OutOfBoundsError(problem)
        return value
