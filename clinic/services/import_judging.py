"""Many lines judged together: against who is stored, and against the lines above, in few queries."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from clinic.models import ImportLine, Patient, PatientImport
from clinic.models.people import Channel
from clinic.rules.import_match import Known, LineState, Match, match
from clinic.services.import_reading import ReadLine, digest_of, key_of, stored_form

WRITTEN = (LineState.NEW, LineState.CHANGED)
FIELDS = ("full_name", "call_me", "born", "phone", "email", "external_id", "note")


@dataclass(frozen=True, slots=True)
class Keys:
    """Under what a line is remembered. person: name and birth date; anybody: the name alone."""

    person: int
    undated: int
    anybody: int
    number: int | None
    dated: bool


@dataclass(frozen=True, slots=True)
class Above:
    line: int
    digest: int | None
    same_person: bool


class Stored:
    """Who is stored, as far as these lines could mean them: two queries for any number of lines."""

    def __init__(self, lines: Iterable[ReadLine]) -> None:
        lines = list(lines)
        numbers = {line.values["external_id"] for line in lines if line.values.get("external_id")}
        names = {line.name_key for line in lines}
        wanted = ("id", "version", "search_text", *FIELDS)
        by_number = list(Patient.objects.filter(external_id__in=numbers).values(*wanted))
        by_name = list(Patient.objects.filter(search_text__in=names).order_by("id").values(*wanted))
        self.versions: dict[int, int] = {row["id"]: row["version"] for row in (*by_number, *by_name)}
        self._by_number = {row["external_id"]: _known(row) for row in by_number}
        self._by_name: dict[str, list[Known]] = {}
        for row in by_name:
            self._by_name.setdefault(row["search_text"], []).append(_known(row))

    def match(self, line: ReadLine) -> Match:
        number = line.values.get("external_id")
        by_number = self._by_number.get(number) if number else None
        return match(line.values, by_number=by_number, by_name=self._by_name.get(line.name_key, []))


def lines_judge(of: PatientImport, lines: Sequence[ReadLine]) -> list[ImportLine]:
    """What becomes of each line; unsaved rows. Lines judged before, of the same file, count as lines above."""
    usable = [line for line in lines if not line.refused]
    stored = Stored(usable)
    keys = {line.line: _keys(line) for line in usable}
    above = _Lines(of, keys.values())
    rows = []
    for line in lines:
        if line.refused:
            rows.append(_row(of, line, Match(LineState.REFUSED, " ".join(line.refused))))
            continue
        digest = digest_of(line.values)
        found = _judged(line, above.find(keys[line.line]), digest, stored)
        row = _row(of, line, found, keys[line.line], digest)
        if found.state == LineState.CHANGED and found.id is not None:
            row.found_id, row.found_version, row.changes = found.id, stored.versions[found.id], sorted(found.changes)
        rows.append(row)
        above.remember(keys[line.line], line.line, digest)
    return rows


def _judged(line: ReadLine, earlier: Above | None, digest: int, stored: Stored) -> Match:
    if earlier is not None and earlier.same_person and earlier.digest == digest:
        return Match(LineState.SAME, f"Line {earlier.line} says the same.")
    if earlier is not None:
        return Match(LineState.DOUBTFUL, f"Line {earlier.line} may be about the same person and says something else.")
    if line.doubts:
        return Match(LineState.DOUBTFUL, " ".join(line.doubts))
    return stored.match(line)


def _keys(line: ReadLine) -> Keys:
    name, born, number = line.name_key, line.values.get("born"), line.values.get("external_id")
    return Keys(
        person=key_of("person", name, str(born)),
        undated=key_of("person", name, "None"),
        anybody=key_of("name", name),
        number=key_of("number", number) if number else None,
        dated=born is not None,
    )


class _Lines:
    """The lines above that could be about the same people."""

    def __init__(self, of: PatientImport, keys: Iterable[Keys]) -> None:
        keys = list(keys)
        people = {key.person for key in keys} | {key.undated for key in keys}
        anybody = {key.anybody for key in keys if not key.dated}
        numbers = {key.number for key in keys if key.number is not None}
        self._found: dict[int, tuple[int, int | None]] = {}
        # One question an index: asked all at once, SQLite reads every line above for each slice.
        for name, wanted in (("person_key", people), ("name_key", anybody), ("number_key", numbers)):
            rows = ImportLine.objects.filter(of=of, **{f"{name}__in": wanted}).order_by()
            for line, digest, key in rows.values_list("line", "digest", name):
                if key not in self._found or line < self._found[key][0]:
                    self._found[key] = (line, digest)

    def find(self, keys: Keys) -> Above | None:
        for key in (keys.person, keys.number):
            if key is not None and key in self._found:
                return Above(*self._found[key], same_person=True)
        other = keys.undated if keys.dated else keys.anybody
        return Above(*self._found[other], same_person=False) if other in self._found else None

    def remember(self, keys: Keys, line: int, digest: int) -> None:
        for key in (keys.person, keys.anybody, keys.number):
            if key is not None:
                self._found.setdefault(key, (line, digest))


def channel_of(values: Mapping[str, Any], *, gets_texts: bool) -> str:
    """How a new patient is written to: by mail where there is an address and no number that gets texts."""
    return Channel.EMAIL if values.get("email") and not gets_texts else Channel.SMS


def _known(row: dict[str, object]) -> Known:
    return Known(id=int(str(row["id"])), values={name: row[name] for name in FIELDS})


def _row(
    of: PatientImport, line: ReadLine, found: Match, keys: Keys | None = None, digest: int | None = None
) -> ImportLine:
    return ImportLine(
        of=of,
        line=line.line,
        state=found.state,
        reason=found.reason[:500],
        cells=[cell.replace("\x00", "\ufffd") for cell in line.cells],
        values=stored_form(line.values),
        person_key=keys.person if keys else None,
        name_key=keys.anybody if keys else None,
        number_key=keys.number if keys else None,
        digest=digest,
        gets_texts=line.gets_texts,
        search_text=line.name_key if found.state in WRITTEN else "",
        prefers=channel_of(line.values, gets_texts=line.gets_texts) if found.state == LineState.NEW else "",
    )
