"""Which copy of the time-zone data (IANA) this process reads. There may be two: the machine's and the package tzdata.

Zones change several times a year. The older copy would shift clocks by an hour where the law no longer does, so the
newer one is read, and start-up says which that is.
"""

import importlib
import os
import re
import zoneinfo
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

_HEAD = re.compile(r"#\s*version\s+(\d{4}[a-z]+)")
_BARE = re.compile(r"\d{4}[a-z]+")
_A_ZONE = "Europe/London"
UNKNOWN = "of unknown version"


@dataclass(frozen=True, slots=True)
class ZoneData:
    """A copy of the data: its version, such as 2025b, or UNKNOWN, and where it lies."""

    version: str
    where: str

    def __str__(self) -> str:
        return f"{self.version} ({self.where})"


def prefer_newest() -> None:
    """Let zones be read from the package tzdata where it is newer than the machine's copy, or that tells no version.

    To be called before the first zone is made. Whoever sets PYTHONTZPATH has chosen a copy, and is left alone.
    """
    package, machine = _of_package(), _of_machine(zoneinfo.TZPATH)
    if "PYTHONTZPATH" in os.environ or package is None or machine is None:
        return
    if machine.version == UNKNOWN or package.version > machine.version:
        zoneinfo.reset_tzpath(to=())
        zoneinfo.ZoneInfo.clear_cache()


def zone_data() -> ZoneData | None:
    """The copy that this process reads; None where there is none."""
    return _of_machine(zoneinfo.TZPATH) or _of_package()


def _of_machine(folders: Sequence[str]) -> ZoneData | None:
    folder = next((Path(one) for one in folders if (Path(one) / _A_ZONE).is_file()), None)
    return None if folder is None else ZoneData(_version_in(folder), str(folder))


def _version_in(folder: Path) -> str:
    """Linux keeps the version in the first line of tzdata.zi, macOS and the BSDs in a file of its own."""
    for name, pattern in (("tzdata.zi", _HEAD), ("+VERSION", _BARE)):
        try:
            with (folder / name).open(encoding="utf-8", errors="replace") as file:
                found = pattern.match(file.readline())
        except OSError:
            continue
        if found:
            return found.groups()[0] if found.groups() else found[0]
    return UNKNOWN


def _of_package() -> ZoneData | None:
    try:
        package = importlib.import_module("tzdata")
    except ModuleNotFoundError:
        return None
    return ZoneData(str(getattr(package, "IANA_VERSION", UNKNOWN)), "package tzdata")
