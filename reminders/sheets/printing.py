"""HTML to paper: a tagged PDF with its fonts inside, made without any look at the network or the disk's other files."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from hashlib import sha256
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.html import format_html

from clinic.models import Clinic
from clinic.rules.tongue import ENGLISH, Tongue
from reminders.rules.paper import paper_for, scripts_of, without_characters

STYLE = "css/sheets.css"
MISSING_HERE = "<!-- what cannot be printed is said here -->"
_BODY = '<body class="'
_FIT_HERE = "data-fit"
_END = "end"
_END_HERE = f'<div id="{_END}"></div>'
"""An empty element after the last line: where it comes to lie tells how much room is left."""

_LEAST_MM = {False: (31, 30), True: (22, 20)}
"""Heights of the pictures of the top strip and of those beneath, by whether a sheet is tight; as in the styles."""
_MOST_MM = (54, 45)
_SPARE_MM = 1.5
_WORTH_MM = 2
"""A picture that would gain less is not set again."""
_BOTTOM_MM = 10.0
_PIXELS_PER_MM = 96 / 25.4
_NO_ROOM = re.compile(r'src="[^"]*"|\d')

VARIANT = "pdf/ua-1"
"""ISO 14289-1: tags, language and title are there for whoever has a paper read aloud."""


class PaperNotAvailable(RuntimeError):
    """The library that makes PDFs cannot be loaded here; the text says what is missing."""


@dataclass(frozen=True, slots=True)
class Fit:
    """How a sheet is set so that it fills its one page. tight: less space between the lines and narrower letters.

    grown_mm: how much higher its pictures are than the smallest that can be read, 22 mm where tight and 31 otherwise.
    """

    tight: bool = False
    grown_mm: int = 0


PLAIN = Fit()


@dataclass(frozen=True, slots=True)
class Printed:
    """A finished PDF, its pages, and the scripts whose letters no font here could draw."""

    pdf: bytes
    pages: int
    missing: tuple[str, ...] = ()
    fit: Fit = PLAIN
    room_mm: float = 0.0
    """What is left free beneath the last line of the last page."""


_FITS: dict[str, Fit] = {}
"""How sheets of the same words were set before, so that most are laid out once; their pages are counted anyway."""
_MOST_FITS = 500


def sheet_html(template: str, context: dict[str, Any], *, clinic: Clinic, title: str, tongue: Tongue = ENGLISH) -> str:
    """One sheet as HTML, its times on the clinic's clock. title: no name or address, it stands in the metadata."""
    words = {
        "clinic": clinic,
        "title": title,
        "tongue": tongue,
        "paper": paper_for(clinic.country),
        "MISSING_HERE": MISSING_HERE,
    }
    with timezone.override(clinic.zone):
        return render_to_string(f"reminders/sheets/{template}.html", context | words)


def print_html(html: str, *, paper: str = "A4", one_page: bool = False) -> Printed:
    """Make a PDF. Letters that no font here has are replaced by their script's name, and a warning says so.

    paper: "A4" or "letter". one_page: what runs over one page is set again with smaller pictures, less space between
    the lines and narrower letters, never smaller ones; then the pictures take what room is left. Raises
    PaperNotAvailable where the PDF library is not whole.
    """
    known = _FITS.get(_words_key(html, paper)) if one_page else None
    fit = known or PLAIN
    printed, lost = _written(fitted(html, fit), paper)
    missing = scripts_of(lost)
    if lost:
        html = _said(html, lost)
        printed, _ = _written(fitted(html, fit), paper)
    if one_page and (known is None or printed.pages > 1):
        printed, fit = _filled(html, paper, printed if known is None else _written(html, paper)[0])
    return replace(printed, missing=missing, fit=fit)


def fitted(html: str, fit: Fit) -> str:
    """One sheet's HTML, set as fit says."""
    if fit.tight:
        html = html.replace(_BODY, f"{_BODY}tight ", 1)
    if fit.grown_mm:
        top, beneath = (least + fit.grown_mm for least in _LEAST_MM[fit.tight])
        sizes = f"--top: {min(top, _MOST_MM[0])}mm; --beneath: {min(beneath, _MOST_MM[1])}mm"
        html = html.replace(_FIT_HERE, f'style="{sizes}"', 1)
    return html


def _filled(html: str, paper: str, printed: Printed) -> tuple[Printed, Fit]:
    """The sheet on one page, its pictures as high as the page has room for. printed: html as it stands."""
    fit = Fit(tight=printed.pages > 1)
    if fit.tight:
        printed, _ = _written(fitted(html, fit), paper)
    rows = sum(f'class="{name}"' in html for name in ("pictures", "beneath"))
    room = int((printed.room_mm - _SPARE_MM) / rows) if rows and printed.pages == 1 else 0
    most = max(high - least for high, least in zip(_MOST_MM, _LEAST_MM[fit.tight], strict=True))
    if room >= _WORTH_MM:
        larger = replace(fit, grown_mm=min(room, most))
        again, _ = _written(fitted(html, larger), paper)
        if again.pages == 1:
            printed, fit = again, larger
    if len(_FITS) >= _MOST_FITS:
        _FITS.clear()
    _FITS[_words_key(html, paper)] = fit
    return printed, fit


def _words_key(html: str, paper: str) -> str:
    """What decides how much room a sheet takes: its words. Codes, pictures' contents and figures never do."""
    return sha256((_NO_ROOM.sub("", html) + paper).encode()).hexdigest()


def print_together(htmls: Sequence[str], *, title: str, paper: str = "A4") -> Printed:
    """One PDF of several sheets, each from a new page. title stands in the metadata; otherwise as print_html."""
    sheets = "".join(f'<article class="sheet {_about(html)}>{_inside(html)}</article>' for html in htmls)
    head = format_html('<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{}</title></head>', title)
    return print_html(f'{head}{_BODY}many">{sheets}</body></html>', paper=paper)


def print_plain(html: str, *, paper: str = "A4") -> bytes:
    """The same HTML through the PDF library alone, with the same styles: what the rest is measured against."""
    options = {"pdf_variant": VARIANT, "pdf_tags": True, "stylesheets": [_style(), _page_size(paper)]}
    written: bytes = _weasyprint().HTML(string=html, url_fetcher=_fetcher()).write_pdf(**options)
    return written


def _about(html: str) -> str:
    """The rest of the body's first tag, from its classes on: with its language and direction."""
    return html.partition(_BODY)[2].partition(">")[0]


def _inside(html: str) -> str:
    return html.partition(_BODY)[2].partition(">")[2].rpartition("</body>")[0].replace(_END_HERE, "")


def _said(html: str, lost: frozenset[str]) -> str:
    """html without the lost letters; each sheet that had some says which, in its own place for it."""
    first, *sheets = html.split(MISSING_HERE)
    kept = [without_characters(first, lost)]
    for sheet in sheets:
        own = scripts_of(lost.intersection(sheet))
        kept += [_warning(own) if own else "", without_characters(sheet, lost)]
    return "".join(kept)


def _written(html: str, paper: str) -> tuple[Printed, frozenset[str]]:
    weasyprint = _weasyprint()
    page = weasyprint.HTML(string=html, base_url=None, url_fetcher=_fetcher())
    document = page.render(stylesheets=[_style(), _page_size(paper)], pdf_variant=VARIANT, pdf_tags=True)
    pdf = document.write_pdf(pdf_variant=VARIANT, pdf_tags=True)
    lost = {chr(point) for font in document.fonts.values() for point in font.missing}
    return Printed(pdf, len(document.pages), room_mm=_room_mm(document.pages[-1])), frozenset(lost)


def _room_mm(page: Any) -> float:
    """The height between the element that ends a sheet and the bottom margin; 0 where there is none."""
    end = page.anchors.get(_END)
    return max(0.0, (page.height - end[1]) / _PIXELS_PER_MM - _BOTTOM_MM) if end else 0.0


def _warning(missing: Iterable[str]) -> str:
    named = [script for script in missing if script != "picture"]
    what = f"{' and '.join(named)} letters" if named else "some signs"
    return format_html(
        '<p class="missing" lang="en" dir="ltr">This computer has no font for {}: they are missing on this sheet, '
        "marked by brackets. Please write them in by hand, and tell whoever looks after the computer.</p>",
        what,
    )


def _weasyprint() -> Any:
    try:
        import weasyprint
    except OSError as fault:
        raise PaperNotAvailable("The system library Pango is missing; the README says how to install it.") from fault
    return weasyprint


@lru_cache(maxsize=1)
def _fetcher() -> Any:
    """Only what the page itself carries: no address, no file."""
    return _weasyprint().urls.URLFetcher(allowed_protocols={"data"}, allow_redirects=False)


@lru_cache(maxsize=1)
def _style() -> Any:
    text = (settings.BASE_DIR / "static" / STYLE).read_text(encoding="utf-8")
    return _weasyprint().CSS(string=text, url_fetcher=_fetcher())


@lru_cache(maxsize=2)
def _page_size(paper: str) -> Any:
    return _weasyprint().CSS(string=f"@page {{ size: {paper} }}", url_fetcher=_fetcher())
