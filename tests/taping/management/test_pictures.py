"""manage.py pictures draws all of them and one page that shows each."""

from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from taping.rules.places import PLACES, REGIONS, Side


def test_every_picture_is_a_file_and_stands_on_the_page(tmp_path: Path) -> None:
    out = StringIO()
    call_command("pictures", to=str(tmp_path / "new"), stdout=out)
    regions = sum(len(region.sides) for region in REGIONS.values())
    # On the middle line a place is drawn as its region is.
    places = sum(side is not Side.MIDLINE for place in PLACES.values() for side in place.region.sides)
    count = 3 * (regions + places)
    files = {file.name for file in (tmp_path / "new").glob("*.svg")}
    page = (tmp_path / "new" / "all.html").read_text(encoding="utf-8")
    assert out.getvalue().startswith(f"{count} pictures")
    assert len(files) == count
    assert {name for name in files if f'src="{name}"' in page} == files


def test_a_folder_that_cannot_be_made_is_said_in_one_line(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(CommandError, match="cannot be written") as refused:
        call_command("pictures", to=str(tmp_path / "file"))
    assert (refused.value.returncode, str(refused.value).count("\n")) == (2, 0)
