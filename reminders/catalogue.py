"""Every sentence a patient can read, and the catalogues that translate them (gettext's PO and MO files).

A sentence is looked for where it is written: in the data files, in templates as {% tr "…" %}, in code as say("…") and
count("…", "…", n). Babel, of the dev extra, reads and writes the files.
"""

import ast
import io
import re
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from clinic.rules.tongue import CATALOGUES, DOMAIN
from reminders.rules.texts import TEXTS
from reminders.rules.wear_calendar import SHORT_WEEKDAYS
from reminders.rules.words import MONTHS, WEEKDAYS, every_place
from taping.rules.hold import HOLD_WORDS, WHO
from taping.rules.pictures import BODIES
from taping.rules.places import PLACES, REGIONS
from taping.rules.removal import RAW_STEPS, USUAL_STEPS, WORN_CARE
from taping.rules.report_signs import ADVICE_STEPS, SIGNS

ROOT = Path(__file__).parent.parent
Sentence = str | tuple[str, str]
"""One sentence, or the pair for one and for several."""

_TR = re.compile(r"""\{%\s*tr\s+"([^"]+)\"""")
_BEGUN = datetime(2026, 11, 25, tzinfo=UTC)
"""A fixed date in the files' heads: the same sentences make the same files."""

_REFUSES_PATIENTS = "application_reopen"
"""The service whose refusals are shown to patients who press undo too late."""
_NO_PATIENT_READS = {"management", "demo", "bench", "rehearsal"}


def sentences() -> list[Sentence]:
    """Return every sentence once: messages, data, then templates and code by file."""
    found: dict[Sentence, None] = {}
    for one in (*_of_messages(), *_of_data(), *_of_templates(), *_of_code()):
        found.setdefault(one)
    return list(found)


def catalogue_path(language: str, ending: str) -> Path:
    """Return where the catalogue of a language lies; ending: "po" to translate, "mo" as the program reads it."""
    return CATALOGUES / language / "LC_MESSAGES" / f"{DOMAIN}.{ending}"


def catalogue_read(language: str) -> Any:
    """Return the catalogue of a language as Babel holds it; an empty one where there is none yet."""
    from babel.messages.catalog import Catalog
    from babel.messages.pofile import read_po

    path = catalogue_path(language, "po")
    if not path.exists():
        return Catalog(
            locale=language,
            domain=DOMAIN,
            header_comment="# What patients read. Not yet read by a fluent clinician.",
            creation_date=_BEGUN,
            revision_date=_BEGUN,
            last_translator="",
            language_team="",
            msgid_bugs_address="",
            fuzzy=False,
        )
    with path.open("rb") as file:
        return read_po(file, locale=language, domain=DOMAIN)


def catalogue_write(language: str) -> list[str]:
    """Bring the catalogue of a language up to the sentences there are and compile it; returns those untranslated.

    A sentence that is gone is dropped; one that has changed is a new one, since a translation of other words is none.
    """
    from babel.messages.pofile import write_po

    old, new = catalogue_read(language), catalogue_read(language)
    for message in list(new):
        if message.id:
            new.delete(message.id)
    for sentence in sentences():
        kept = old.get(sentence)
        new.add(sentence, kept.string if kept else None)
    path = catalogue_path(language, "po")
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as file:
        write_po(file, new, width=110, no_location=True, omit_header=False)
    catalogue_path(language, "mo").write_bytes(compiled(language))
    return [str(message.id) for message in new if message.id and not _is_whole(message.string)]


def compiled(language: str) -> bytes:
    """Return what the program reads, made from the catalogue that people read."""
    from babel.messages.mofile import write_mo

    file = io.BytesIO()
    write_mo(file, catalogue_read(language))
    return file.getvalue()


def _is_whole(translated: str | Iterable[str] | None) -> bool:
    if translated is None or isinstance(translated, str):
        return bool(translated)
    return all(translated)


def _of_messages() -> Iterator[Sentence]:
    for text in TEXTS.values():
        yield (text.one, text.many) if text.many else text.one


def _of_data() -> Iterator[Sentence]:
    for step in (*USUAL_STEPS, *RAW_STEPS, *WORN_CARE, *ADVICE_STEPS.values()):
        yield step.text
    yield from (sign.words for sign in SIGNS)
    yield from (words for one in HOLD_WORDS.values() for words in (one.what, one.advice))
    yield from WHO
    yield from every_place()
    marks = [*(region.landmarks for region in REGIONS.values()), *(place.landmarks for place in PLACES.values())]
    yield from (words for mark in marks for words in (mark.upper, mark.lower))
    yield from (body.seen for body in BODIES.values())
    yield from (*WEEKDAYS, *SHORT_WEEKDAYS, *MONTHS)


def _of_templates() -> Iterator[Sentence]:
    for path in sorted((ROOT / "templates").rglob("*.html")):
        yield from _TR.findall(path.read_text(encoding="utf-8"))


def _of_code() -> Iterator[Sentence]:
    for app in ("clinic", "taping", "reminders"):
        for path in sorted((ROOT / app).rglob("*.py")):
            if _NO_PATIENT_READS.isdisjoint(path.relative_to(ROOT).parts):
                for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                    yield from _of_node(node)


def _of_node(node: ast.AST) -> Iterator[Sentence]:
    if isinstance(node, ast.FunctionDef) and node.name == _REFUSES_PATIENTS:
        calls = [call for call in ast.walk(node) if isinstance(call, ast.Call)]
        yield from (said for call in calls if _name(call) == "TapingRefused" for said in _constants(call))
    if isinstance(node, ast.Call):
        said = _constants(node)
        if _name(node) == "say" and len(node.args) == 1 and said:
            yield said[0]
        elif _name(node) == "count" and len(said) == 2:  # the sentence for one, the one for several
            yield (said[0], said[1])


def _name(call: ast.Call) -> str:
    return str(getattr(call.func, "attr", getattr(call.func, "id", "")))


def _constants(call: ast.Call) -> list[str]:
    return [one.value for one in call.args if isinstance(one, ast.Constant) and isinstance(one.value, str)]
