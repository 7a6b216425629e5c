"""manage.py pictures: every removal picture as a file, and one sheet with all of them to look at."""

from argparse import ArgumentParser
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.utils.html import format_html, format_html_join

from clinic.management.one_line import OneLineCommand, refuse
from taping.drawings.removal import NUMBERS, removal_svg
from taping.rules.pictures import drawn_as, removal_pictures
from taping.rules.places import PLACES, REGIONS, Place, Region, Side

SHEET = "all.html"
_PAGE = """<!doctype html><html lang="en"><meta charset="utf-8"><title>Removal pictures</title><style>
body {{ font: 13px/1.35 sans-serif; margin: 12px; }} section {{ break-inside: avoid; display: inline-block;
width: 31.5%; margin: 0 1% 12px 0; vertical-align: top; }} h2 {{ font-size: 13px; margin: 0 0 4px; }}
img {{ width: 32%; }}
ol {{ margin: 2px 0 0; padding-left: 18px; }}</style>{}"""


class Command(OneLineCommand):
    help = "Draw every removal picture into a folder, with one page that shows all of them."
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--to", metavar="FOLDER", required=True, help="made if it is not there")

    def handle(self, *args: Any, **options: Any) -> None:
        folder = Path(options["to"])
        try:
            folder.mkdir(parents=True, exist_ok=True)
            count = sum(_draw(folder, where, side) for where, side in _all())
            rows = format_html_join("\n", "{}", ((_row(where, side),) for where, side in _all()))
            (folder / SHEET).write_text(format_html(_PAGE, rows), encoding="utf-8")
        except OSError as fault:
            raise refuse(f"The pictures cannot be written to {folder}: {fault}.") from fault
        self.stdout.write(f"{count} pictures; look at {folder / SHEET}")


def _all() -> Iterator[tuple[Region | Place, Side]]:
    for region in REGIONS.values():
        yield from ((region, side) for side in region.sides)
    for place in PLACES.values():
        yield from ((place, side) for side in place.region.sides if drawn_as(place, side) is place)


def _name(where: Region | Place, side: Side, number: int) -> str:
    return f"{where.key}-{side}-{number}.svg"


def _draw(folder: Path, where: Region | Place, side: Side) -> int:
    for number in NUMBERS:
        (folder / _name(where, side, number)).write_text(removal_svg(where, side, number), encoding="utf-8")
    return len(NUMBERS)


def _row(where: Region | Place, side: Side) -> str:
    told = removal_pictures(where, side)
    images = format_html_join(
        "", '<img src="{}" alt="{}">', ((_name(where, side, one.number), one.told) for one in told)
    )
    words = format_html_join("", "<li>{}</li>", ((one.text,) for one in told))
    return format_html("<section><h2>{} · {}</h2>{}<ol>{}</ol></section>", where.key, side, images, words)
