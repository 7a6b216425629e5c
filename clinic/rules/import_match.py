"""Whether a line of a list is somebody new, somebody known, or somebody about whom a person has to decide."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Any

from clinic.rules.text import search_key


class LineState(StrEnum):
    NEW = "new"
    SAME = "same"
    CHANGED = "changed"
    DOUBTFUL = "doubtful"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class Known:
    """Somebody stored: what is compared, and every value an import can change, by Patient's names of fields."""

    id: int
    values: Mapping[str, Any]

    @property
    def name_key(self) -> str:
        return search_key(self.values["full_name"])

    @property
    def born(self) -> date | None:
        born: date | None = self.values["born"]
        return born


@dataclass(frozen=True, slots=True)
class Match:
    """state: never refused. changes: the fields that differ, of the person with `id` (None: nobody stored yet)."""

    state: LineState
    reason: str = ""
    id: int | None = None
    changes: tuple[str, ...] = ()


def match(values: Mapping[str, Any], *, by_number: Known | None, by_name: Sequence[Known]) -> Match:
    """Judge one line by who is stored: by_number has the same external id, by_name the same name (any birth date).

    values holds only what the line says: an empty cell is no value and never blanks what is stored. Two people may
    share a name; a name alone, where either birth date is missing, is never enough to change somebody.
    """
    if by_number is not None:
        return _of_number(values, by_number)
    born = values.get("born")
    same = [known for known in by_name if born is not None and known.born == born]
    unknown = [known for known in by_name if born is None or known.born is None]
    number = values.get("external_id")
    other = [known for known in same if number and known.values["external_id"] not in (None, "", number)]
    if other:
        words = f"has the same name and date of birth, but the number {other[0].values['external_id']}"
        return Match(LineState.DOUBTFUL, f"Somebody stored {words}. Say who it is by hand.", other[0].id)
    if len(same) > 1:
        return Match(LineState.DOUBTFUL, "Several people are stored with this name and date of birth.", same[0].id)
    if same:
        return _differences(values, same[0])
    if born is None and len(by_name) == 1 and by_name[0].born is None and not _changed(values, by_name[0]):
        return Match(LineState.SAME, "", by_name[0].id)
    if unknown:
        words = "the line has no date of birth" if born is None else "the stored date of birth is missing"
        return Match(LineState.DOUBTFUL, f"Somebody of this name is stored, and {words}.", unknown[0].id)
    return Match(LineState.NEW)


def _of_number(values: Mapping[str, Any], known: Known) -> Match:
    born = values.get("born")
    alike = search_key(values["full_name"]) == known.name_key or (born is not None and born == known.born)
    if not alike:
        return Match(LineState.DOUBTFUL, "This number belongs to somebody with another name and birth date.", known.id)
    if born is not None and known.born is not None and born != known.born:
        return Match(LineState.DOUBTFUL, "This number belongs to somebody with another date of birth.", known.id)
    return _differences(values, known)


def _differences(values: Mapping[str, Any], known: Known) -> Match:
    changes = _changed(values, known)
    if not changes:
        return Match(LineState.SAME, "", known.id)
    return Match(LineState.CHANGED, f"Changes: {', '.join(_WORDS[name] for name in changes)}.", known.id, changes)


def _changed(values: Mapping[str, Any], known: Known) -> tuple[str, ...]:
    return tuple(name for name, value in values.items() if known.values[name] != value)


_WORDS = {
    "full_name": "name",
    "call_me": "what to call them",
    "born": "date of birth",
    "phone": "telephone",
    "email": "e-mail",
    "external_id": "number in the other system",
    "note": "note",
}
