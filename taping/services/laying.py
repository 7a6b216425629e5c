"""The steps of laying, as a list to go by and as the record of what was done."""

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from taping.rules.technique import LayingStep


@dataclass(frozen=True, slots=True)
class LayingList:
    """The steps that some strips share, with the numbers of those strips."""

    positions: list[int]
    steps: tuple[LayingStep, ...]

    def named(self) -> Iterator[tuple[str, LayingStep]]:
        """Each step under the name by which a form knows it."""
        for step in self.steps:
            yield f"{self.positions[0]}.{step.key}", step


def laying_lists(strips: Iterable[tuple[int, tuple[LayingStep, ...]]]) -> list[LayingList]:
    """The steps of each way of laying that is in the plan, once, with the positions of the strips it is for."""
    found: dict[tuple[LayingStep, ...], list[int]] = {}
    for position, steps in strips:
        found.setdefault(steps, []).append(position)
    return [LayingList(positions, steps) for steps, positions in found.items()]


def laid_steps(layings: Iterable[LayingList], done: Collection[str]) -> list[dict[str, Any]]:
    """The record of a taping; done holds the names of the steps that were done, everything else was left out."""
    return [
        {
            "strips": laying.positions,
            "done": [step.key for name, step in laying.named() if name in done],
            "left_out": [step.key for name, step in laying.named() if name not in done],
        }
        for laying in layings
    ]
