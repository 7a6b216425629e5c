"""Pictures of every page of the demo: python -m tests.browser.screenshots --to FOLDER [--page NAME] [--width N].

Makes an invented clinic in a folder of its own, serves it, and takes each page at each width, light and dark; one
contact sheet a width and theme shows them all side by side.
"""

import argparse
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from html import escape
from pathlib import Path
from urllib.parse import urlsplit

from tests.browser.lock import LOCKED, lock, unlock

WIDTHS = {1280: 900, 820: 1180, 360: 740}
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"]
THEMES = ("light", "dark")
PASSWORD = "walk the long harbour"
NOT_STAFF = ("log_in", "link", "stop")
ROOT = Path(__file__).resolve().parents[2]


@contextmanager
def demo_served() -> Iterator[tuple[str, dict[str, str]]]:
    """The address of a served demo, and the addresses of its pages by name."""
    with tempfile.TemporaryDirectory(prefix="wearwindow-pictures-") as folder:
        environment = {**os.environ, "DATA_FOLDER": folder, "DJANGO_SETTINGS_MODULE": "clinic.settings"}
        environment.pop("DATABASE_URL", None)
        command = [sys.executable, "manage.py", "demo", "--port", "0"]
        with subprocess.Popen(command, cwd=ROOT, env=environment, stdout=subprocess.PIPE, text=True) as served:
            try:
                assert served.stdout is not None
                found = (re.search(r"is at (http://[\d.:]+)/", line) for line in served.stdout)
                home = next(hit[1] for hit in found if hit)
                yield home, _addresses(environment)
            finally:
                served.terminate()
                served.wait(timeout=30)


def _addresses(environment: dict[str, str]) -> dict[str, str]:
    program = (
        "import django, json; django.setup()\nfrom tests.browser.pages import addresses\nprint(json.dumps(addresses()))"
    )
    read = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, env=environment, stdout=subprocess.PIPE, text=True, check=True
    )
    found: dict[str, str] = json.loads(read.stdout.strip().splitlines()[-1])
    return found


def who_sees(name: str) -> str:
    """The demo's log-in for a page: nobody, or the therapist who also manages and so sees every page."""
    return "" if name.startswith(NOT_STAFF) else "mira"


def take(to: Path, pages: Iterable[str], widths: Iterable[int], themes: Iterable[str]) -> list[Path]:
    """Take the pictures and the contact sheets; the files that were made."""
    from playwright.sync_api import sync_playwright

    chromium_at = shutil.which("chromium") or shutil.which("chromium-browser")
    to.mkdir(parents=True, exist_ok=True)
    made: list[Path] = []
    with demo_served() as (home, addresses), sync_playwright() as driver:
        wanted = {name: address for name, address in addresses.items() if _chosen(name, pages)}
        chromium = driver.chromium.launch(executable_path=chromium_at, args=ARGUMENTS)
        for width in widths:
            for theme in themes:
                contexts = {}
                row: list[Path] = []
                for name, address in wanted.items():
                    who = who_sees(name)
                    if who not in contexts:
                        contexts[who] = chromium.new_context(
                            base_url=home,
                            viewport={"width": width, "height": WIDTHS.get(width, 900)},
                            color_scheme="dark" if theme == "dark" else "light",
                            has_touch=width < 1000,
                        ).new_page()
                        _log_in(contexts[who], who)
                    page = contexts[who]
                    if name == LOCKED:
                        lock(page)
                    answer = page.goto(address)
                    elsewhere = urlsplit(page.url).path != urlsplit(address).path
                    if answer is None or answer.status not in (200, 404) or elsewhere:
                        raise SystemExit(f"{name}: {who or 'nobody'} gets no such page at {address}")
                    file = to / f"{name.replace(':', '-').replace(' ', '-')}.{width}.{theme}.png"
                    page.screenshot(path=str(file), full_page=True)
                    row.append(file)
                    if name == LOCKED:
                        unlock(page, PASSWORD)
                        page.wait_for_url("**/")
                made += [*row, _sheet(chromium.new_page(), to / f"all.{width}.{theme}.png", row, width)]
                for page in contexts.values():
                    page.context.close()
        chromium.close()
    return made


def _chosen(name: str, pages: Iterable[str]) -> bool:
    wanted = list(pages)
    return not wanted or name in wanted or name.partition(":")[0] in wanted


def _log_in(page: "object", who: str) -> None:
    if not who:
        return
    page.goto("/log-in/")  # type: ignore[attr-defined]
    page.get_by_label("Log-in name").fill(who)  # type: ignore[attr-defined]
    page.get_by_label("Password").fill(PASSWORD)  # type: ignore[attr-defined]
    page.get_by_role("button", name="Log in").click()  # type: ignore[attr-defined]


def _sheet(page: "object", file: Path, pictures: Iterable[Path], width: int) -> Path:
    """One picture of all of them, each under its name."""
    cell = 420 if width > 1000 else 300
    cells = "".join(
        f"<figure><figcaption>{escape(one.name.split('.')[0])}</figcaption>"
        f'<img src="{one.resolve().as_uri()}"></figure>'
        for one in pictures
    )
    html = file.with_suffix(".html")
    html.write_text(
        "<!doctype html><meta charset=utf-8><style>"
        "body{font:16px sans-serif;margin:10px;display:flex;flex-wrap:wrap;gap:10px}"
        f"figure{{margin:0;width:{cell}px}}img{{width:100%;max-height:900px;object-fit:cover;object-position:top;"
        f"border:1px solid #888}}</style>{cells}",
        encoding="utf-8",
    )
    page.set_viewport_size({"width": 4 * (cell + 10) + 30, "height": 900})  # type: ignore[attr-defined]
    page.goto(html.resolve().as_uri())  # type: ignore[attr-defined]
    page.screenshot(path=str(file), full_page=True)  # type: ignore[attr-defined]
    page.close()  # type: ignore[attr-defined]
    html.unlink()
    return file


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.browser.screenshots", description=__doc__)
    parser.add_argument("--to", type=Path, required=True, metavar="FOLDER")
    parser.add_argument(
        "--page", action="append", default=[], metavar="NAME", help="a name of pages.py; may be repeated"
    )
    parser.add_argument("--width", type=int, action="append", default=[], choices=sorted(WIDTHS))
    parser.add_argument("--theme", action="append", default=[], choices=THEMES)
    chosen = parser.parse_args()
    made = take(chosen.to, chosen.page, chosen.width or WIDTHS, chosen.theme or THEMES)
    sys.stdout.write(f"{len(made)} pictures in {chosen.to}\n")


if __name__ == "__main__":
    main()
