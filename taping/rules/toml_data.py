"""Reading the data files that lie beside the rules."""

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

_HERE = Path(__file__).parent


class DataError(ValueError):
    """A data file that the rules cannot use; the text names the file and the entry."""


def load_table(name: str) -> dict[str, Any]:
    """Return the contents of ``<name>.toml`` beside the rules."""
    with (_HERE / f"{name}.toml").open("rb") as file:
        return tomllib.load(file)


def text_of(entry: Mapping[str, Any], field: str, *, default: str | None = None) -> str:
    """Return a text of a data entry without the line breaks it was typed with.

    Raises:
        DataError: when it is missing, without a default, or no text.
    """
    value = entry.get(field, default)
    if not isinstance(value, str) or (default is None and not value.strip()):
        raise DataError(f"entry {entry.get('key')!r} needs a text for {field!r}")
    return " ".join(value.split())
