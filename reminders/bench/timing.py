"""How a rate or a duration is taken: the median over repeats, on one core."""

from collections.abc import Callable
from statistics import median
from time import perf_counter


def seconds(work: Callable[[], object], *, repeats: int) -> float:
    """The median of repeats runs of work, in seconds."""
    taken = []
    for _ in range(repeats):
        begun = perf_counter()
        work()
        taken.append(perf_counter() - begun)
    return median(taken)


def per_second(work: Callable[[], object], *, count: int, repeats: int) -> float:
    """How many of the count things that one run of work does fit into a second."""
    return count / seconds(work, repeats=repeats)
