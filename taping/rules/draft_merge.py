"""Two versions of one draft of a screen, brought together without losing or choosing anything."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

JOINED = frozenset({"note", "late_reason"})
"""Texts: where both differ, one follows the other. Of everything else one answer is right, and a person says which."""


@dataclass(frozen=True, slots=True)
class Difference:
    """One field in which two versions differ; an empty side was not answered."""

    name: str
    stored: str
    here: str

    @property
    def clashes(self) -> bool:
        return bool(self.stored and self.here)


@dataclass(frozen=True, slots=True)
class Merged:
    """Both versions in one, and the names that have to be answered anew because both were answered differently."""

    values: dict[str, str]
    anew: tuple[str, ...]


def differences(stored: Mapping[str, str], here: Mapping[str, str]) -> tuple[Difference, ...]:
    """Return the fields in which the versions differ, in the order of ``here``, then of ``stored``."""
    return tuple(_differing(stored, here))


def _differing(stored: Mapping[str, str], here: Mapping[str, str]) -> Iterator[Difference]:
    for name in dict.fromkeys([*here, *stored]):
        one, other = stored.get(name, ""), here.get(name, "")
        if one != other:
            yield Difference(name, one, other)


def merge(stored: Mapping[str, str], here: Mapping[str, str]) -> Merged:
    """Return both versions together: what only one answered is kept, what both answered differently is left open."""
    values, anew = dict(stored), []
    for found in differences(stored, here):
        if not found.clashes:
            values[found.name] = found.stored or found.here
        elif found.name in JOINED:
            values[found.name] = _both(found)
        else:
            values[found.name] = ""
            anew.append(found.name)
    return Merged({name: value for name, value in values.items() if value}, tuple(anew))


def _both(found: Difference) -> str:
    if found.stored in found.here:
        return found.here
    if found.here in found.stored:
        return found.stored
    # One line stays one line; only the note has several.
    return f"{found.stored}\n{found.here}" if found.name == "note" else f"{found.stored}; {found.here}"
