"""A PDF that everybody can read, with its fonts in it, and that looks at nothing outside itself."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from reminders.sheets import printing
from reminders.sheets.printing import MISSING_HERE, Fit, PaperNotAvailable, Printed, _written, print_html
from tests.reminders.sheets.conftest import fonts_of, reader_of


def page(body: str) -> str:
    return f'<!doctype html><html lang="en"><title>A sheet</title><body>{MISSING_HERE}{body}</body></html>'


def test_it_is_tagged_and_has_a_language_and_a_title() -> None:
    catalogue: Any = reader_of(print_html(page("<h1>Tape</h1><p>Words</p>")).pdf).trailer["/Root"]
    assert catalogue["/MarkInfo"]["/Marked"]
    assert "/StructTreeRoot" in catalogue
    assert catalogue["/Lang"] == "en"
    assert catalogue["/ViewerPreferences"]["/DisplayDocTitle"]
    assert b"pdfuaid:part" in catalogue["/Metadata"].get_object().get_data()


def test_every_font_is_embedded() -> None:
    fonts = fonts_of(print_html(page("<h1>Bold</h1><p>Plain</p>")).pdf)
    assert len(fonts) == 2
    assert all(fonts.values())


@pytest.mark.parametrize(("paper", "size"), [("A4", (595, 842)), ("letter", (612, 792))])
def test_paper_sizes(paper: str, size: tuple[int, int]) -> None:
    box = reader_of(print_html(page("x"), paper=paper).pdf).pages[0].mediabox
    assert (round(box.width), round(box.height)) == size


@pytest.mark.parametrize(
    "words",
    ["Siân O'Neil", "Nguyễn Thị Hạnh", "Żółć", "Z\u0307ofia", "Ελένη", "Олена", "مريم", "מרים כהן"],
)
def test_words_come_back_as_they_went_in(words: str, text_of: Callable[[bytes], str]) -> None:
    """Scripts that the packaged font, DejaVu Sans, has: Latin with all its marks, Greek, Cyrillic, Arabic, Hebrew."""
    printed = print_html(page(f"<p><bdi>{words}</bdi></p>"))
    assert printed.missing == ()
    assert words.replace("Z\u0307", "\u017b") in text_of(printed.pdf).replace("Z\u0307", "\u017b")


def test_letters_that_no_font_has_are_named_and_never_drawn_as_boxes(text_of: Callable[[bytes], str]) -> None:
    printed = print_html(page("<p>For <bdi>\U00010920\U00010921 \U00010922</bdi>: knee</p>"))
    text = text_of(printed.pdf)
    assert printed.missing == ("Lydian",)
    assert "For [Lydian letters]: knee" in text
    assert "This computer has no font for Lydian letters: they are missing on this sheet" in text


def test_a_sign_that_no_font_has_is_named_too(text_of: Callable[[bytes], str]) -> None:
    printed = print_html(page("<p>a \ue123 b</p>"))
    assert "a [sign] b" in text_of(printed.pdf)
    assert "no font for some signs" in text_of(printed.pdf)


def test_a_number_beside_a_right_to_left_name_keeps_its_order(text_of: Callable[[bytes], str]) -> None:
    printed = print_html(page('<p>For <bdi>מרים כהן</bdi>, <bdi dir="ltr">+447400123456</bdi>, L3 (2)</p>'))
    text = text_of(printed.pdf)
    assert "+447400123456" in text
    assert "L3 (2)" in text


@pytest.mark.parametrize("address", ["http://127.0.0.1:9/x.png", "file:///etc/hostname", "ftp://127.0.0.1/x"])
def test_no_address_and_no_file_is_looked_at(address: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    def refuse(*args: object, **kwargs: object) -> None:
        raise AssertionError("something was opened")

    monkeypatch.setattr("urllib.request.OpenerDirector.open", refuse)
    html = page(f'<img src="{address}" alt="x"><link rel="stylesheet" href="{address}"><p>Still here</p>')
    assert print_html(html).pages == 1


def test_what_is_embedded_from_outside_is_not_in_the_paper(tmp_path: Path, text_of: Callable[[bytes], str]) -> None:
    secret = tmp_path / "secret.svg"
    secret.write_text('<svg xmlns="http://www.w3.org/2000/svg" width="99" height="20"><text y="15">hidden</text></svg>')
    assert "hidden" not in text_of(print_html(page(f'<img src="{secret.as_uri()}" alt="x">')).pdf)


def test_without_the_system_library_it_says_what_is_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail() -> None:
        raise PaperNotAvailable("The system library Pango is missing; the README says how to install it.")

    monkeypatch.setattr(printing, "_weasyprint", fail)
    with pytest.raises(PaperNotAvailable, match="README"):
        print_html(page("x"))


@pytest.mark.parametrize("wanted", ["file:///etc/hostname", "http://127.0.0.1:9/x.png", "https://example.org/x.png"])
def test_a_sheet_loads_nothing_from_anywhere(wanted: str) -> None:
    """Whatever words get into it: no file of this machine, no address of another one."""
    with pytest.raises(ValueError, match="protocol"):
        printing._fetcher().fetch(wanted)


def home_sheet(words: str, lines: int) -> str:
    """A sheet with one row of pictures, some lines of words, and the mark at its end."""
    drawn = '<img src="data:image/svg+xml,<svg xmlns=%22http://www.w3.org/2000/svg%22/>" alt="a picture">'
    row = f'<div class="picture">{drawn}</div>' * 3
    body = f'<h1>Tape</h1><div class="pictures">{row}</div>' + f"<p>{words}</p>" * lines + '<div id="end"></div>'
    return f'<!doctype html><html lang="en"><title>A sheet</title><body class="home" data-fit>{body}</body></html>'


@pytest.mark.parametrize(
    ("lines", "fit"), [(5, Fit(False, 23)), (38, Fit(False, 8)), (44, Fit(True, 23)), (120, Fit(True, 0))]
)
def test_pictures_take_the_room_that_the_words_leave(lines: int, fit: Fit) -> None:
    printed = print_html(home_sheet("It comes off today.", lines), one_page=True)
    assert printed.fit == fit
    assert (printed.pages == 1) == (lines < 100)


def test_words_that_were_set_before_are_laid_out_once(monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[str] = []
    monkeypatch.setattr(printing, "_FITS", {})

    def counted(html: str, paper: str) -> tuple[Printed, frozenset[str]]:
        made.append(html)
        return _written(html, paper)

    monkeypatch.setattr(printing, "_written", counted)
    first, second = (print_html(home_sheet(f"It comes off at {hour}:00.", 20), one_page=True) for hour in (10, 11))
    assert len(made) == 3
    assert first.fit == second.fit == Fit(False, 23)
    print_html(home_sheet("It comes off today.", 20), one_page=True)
    assert len(made) == 5


def test_a_fit_that_no_longer_fits_is_looked_for_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    html = home_sheet("It comes off today.", 44)
    key = printing._words_key(html, "A4")
    monkeypatch.setattr(printing, "_FITS", {key: Fit(False, 23)})
    printed = print_html(html, one_page=True)
    assert (printed.pages, printed.fit) == (1, Fit(True, 23))
