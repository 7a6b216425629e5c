"""Reads the invented clinic from its files."""

import tomllib
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings

from clinic.rules.local_time import at_clock

FOLDER = Path(settings.BASE_DIR) / "demo_fixtures"
Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Fixtures:
    """The three files as they are written."""

    clinic: Row
    patients: list[Row]
    story: dict[str, list[Row]]

    @property
    def staff(self) -> list[Row]:
        rows: list[Row] = self.clinic["staff"]
        return rows


def fixtures_read(folder: Path = FOLDER) -> Fixtures:
    """Raises OSError, tomllib.TOMLDecodeError."""
    clinic, patients, story = (
        tomllib.loads((folder / f"{name}.toml").read_text(encoding="utf-8")) for name in ("clinic", "patients", "story")
    )
    return Fixtures(clinic, patients["patient"], story)


def moment_of(row: Row, *, now: datetime, zone: ZoneInfo) -> datetime:
    """When a row of the story happened or will happen: aware. now: aware, the moment the demo is loaded."""
    if "minutes_ago" in row or "hours_ago" in row:
        return now - timedelta(minutes=row.get("minutes_ago", 0), hours=row.get("hours_ago", 0))
    today: date = now.astimezone(zone).date()
    day = today + timedelta(days=row.get("in_days", 0) - row.get("days_ago", 0))
    return at_clock(day, time.fromisoformat(row["at"]), zone)
