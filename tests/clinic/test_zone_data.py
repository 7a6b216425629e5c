"""Clocks are right where the law changed them, and start-up says from which copy of the data."""

import subprocess
import sys
import zoneinfo
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import ImproperlyConfigured

from clinic import checks, zone_data
from clinic.models import Clinic
from clinic.zone_data import ZoneData, prefer_newest

ROOT = Path(__file__).resolve().parents[2]
OFFSETS = [("America/Mexico_City", "-0600"), ("Asia/Amman", "+0300")]


@pytest.fixture
def path_kept(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The test may lead the library elsewhere; whoever runs the tests has not chosen a copy."""
    monkeypatch.delenv("PYTHONTZPATH", raising=False)
    before = zoneinfo.TZPATH
    yield
    zoneinfo.reset_tzpath(to=before)
    ZoneInfo.clear_cache()


def machine(folder: Path, version: str) -> Path:
    """A machine's copy of the data, with one zone in it."""
    (folder / "Europe").mkdir()
    (folder / "Europe" / "London").write_bytes(b"TZif")
    if version:
        (folder / "tzdata.zi").write_text(f"# version {version}\nR a 1\n")
    return folder


@pytest.mark.parametrize(("name", "offset"), OFFSETS)
def test_zones_that_gave_up_summer_time_are_not_shifted_against_the_tz_database(name: str, offset: str) -> None:
    """IANA tz database, releases 2022e (Jordan) and 2022f (Mexico)."""
    assert f"{datetime(2027, 7, 1, 9, tzinfo=ZoneInfo(name)):%z}" == offset


@pytest.mark.parametrize(("name", "offset"), OFFSETS)
def test_a_clinic_there_reads_the_same(name: str, offset: str) -> None:
    assert f"{datetime(2027, 7, 1, 9, tzinfo=Clinic(time_zone=name).zone):%z}" == offset


@pytest.mark.parametrize(
    ("of_machine", "of_package", "read"),
    [
        ("2025b", "2026a", "package tzdata"),
        ("2026b", "2026a", "machine"),
        ("2026a", "2026a", "machine"),
        ("", "2026a", "package tzdata"),
    ],
)
def test_the_newer_copy_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, path_kept: None, of_machine: str, of_package: str, read: str
) -> None:
    zoneinfo.reset_tzpath(to=[str(machine(tmp_path, of_machine))])
    monkeypatch.setattr(zone_data, "_of_package", lambda: ZoneData(of_package, "package tzdata"))
    prefer_newest()
    found = zone_data.zone_data()
    assert found is not None
    assert (found.version, found.where.replace(str(tmp_path), "machine")) == (max(of_machine, of_package), read)


def test_whoever_chose_a_copy_is_left_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, path_kept: None) -> None:
    zoneinfo.reset_tzpath(to=[str(machine(tmp_path, "2020a"))])
    monkeypatch.setenv("PYTHONTZPATH", str(tmp_path))
    prefer_newest()
    assert zone_data.zone_data() == ZoneData("2020a", str(tmp_path))


def test_a_version_in_a_file_of_its_own_is_found(tmp_path: Path, path_kept: None) -> None:
    zoneinfo.reset_tzpath(to=[str(machine(tmp_path, ""))])
    (tmp_path / "+VERSION").write_text("2031c\n")
    assert zone_data.zone_data() == ZoneData("2031c", str(tmp_path))


def test_the_settings_read_the_newer_copy() -> None:
    """In a fresh process, where no zone was made before."""
    asked = "import clinic.settings; from clinic.zone_data import *; import tzdata; "
    said = subprocess.run(
        [sys.executable, "-c", asked + "print(zone_data().version >= tzdata.IANA_VERSION)"],
        cwd=ROOT, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert said.stdout == "True\n"


class TestCheck:
    def test_good_data_is_no_fault(self) -> None:
        assert checks.time_zones(None) == []

    def test_old_data_is_warned_of_by_name(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """A zone that still changes its clocks stands for one that an old copy changes."""
        monkeypatch.setattr(checks, "_NO_SUMMER_TIME", {"America/New_York": -5})
        (warning,) = checks.time_zones(None)
        assert warning.id == "wearwindow.W008"
        assert "has wrong clocks for America/New_York" in warning.msg

    def test_no_data_is_an_error_with_its_cure(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(checks, "_NO_SUMMER_TIME", {"Mars/Olympus": 0})
        assert [(one.id, one.hint) for one in checks.time_zones(None)] == [
            ("wearwindow.E006", "Install the package tzdata.")
        ]


@pytest.mark.parametrize("name", ["Mars/Olympus", "", "../../etc/passwd"])
def test_a_zone_that_this_machine_does_not_know_is_said_in_words(name: str) -> None:
    with pytest.raises(ImproperlyConfigured) as refused:
        Clinic(time_zone=name).zone  # noqa: B018
    assert f"has no zone called {name!r}, which is the clinic's. Install a newer version of the package tzdata." in str(
        refused.value
    )
