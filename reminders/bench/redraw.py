"""How long the strip plan takes to redraw before the eyes: from a key in a browser to the new drawing on the screen."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from statistics import quantiles
from time import perf_counter
from typing import Any
from urllib.parse import urlencode
from urllib.request import Request, urlopen

from reminders.bench import plan
from reminders.bench.company import BenchError, Hand, environment_of

SERVER = "reminders.bench.redraw_server"
NO_BROWSER = "no browser here: the server's answer alone"
WARM_UP = 20
FORM_TOKEN = "b" * 32
ARGUMENTS = ("--no-sandbox", "--disable-gpu", "--disable-background-networking")

# One change: the shape is set, the span typed, and the clock runs until the frame that shows the new cut was painted.
REDRAW = """async ({span, shape}) => {
  const line = document.getElementById("cut-line"), was = line.textContent, more = document.getElementById("cut-more");
  const field = document.querySelector('[name="span"]');
  document.querySelector(`[name="shape"][value="${shape}"]`).checked = true;
  const swapped = new Promise(done => line.addEventListener("htmx:afterSwap", done, {once: true}));
  const settled = new Promise(done => line.addEventListener("htmx:afterSettle", done, {once: true}));
  performance.clearResourceTimings();
  const begun = performance.now();
  field.value = span;
  field.dispatchEvent(new Event("input", {bubbles: true}));
  await swapped;
  await new Promise(painted => requestAnimationFrame(() => {
    const after = new MessageChannel();
    after.port1.onmessage = painted;
    after.port2.postMessage("");
  }));
  const taken = performance.now() - begun;
  await settled;
  const now = line.textContent;
  if (now === was || !line.querySelector(".large-number")) { throw new Error("no new cut: " + now); }
  if (document.getElementById("cut-more") === more) { throw new Error("the drawing was not replaced"); }
  return [taken, performance.getEntriesByType("resource").at(-1).duration];
}"""


@dataclass(frozen=True, slots=True)
class RedrawFigures:
    """Milliseconds. redraw: from the change to the painted frame. answer: from the request to its last byte."""

    measured_in: str
    redraws: int
    redraw_p50_ms: float | None
    redraw_p95_ms: float | None
    redraw_slowest_ms: float | None
    answer_p50_ms: float
    answer_p95_ms: float

    def as_dict(self) -> dict[str, Any]:
        return asdict(self)


@dataclass(frozen=True, slots=True)
class Plan:
    """Where the plan is served and the cookie of somebody who may change it."""

    home: str
    page: str
    cut: str
    cookie: str
    session: str


def measure(*, repeats: int, folder: Path) -> RedrawFigures:
    """repeats: how often a hundred different spans are gone through. folder is empty and keeps database and files.

    Raises BenchError where the server ends.
    """
    changes = [
        {"span": f"{span} mm", "shape": plan.SHAPES[number % len(plan.SHAPES)]}
        for number, span in enumerate(list(plan.SPANS_MM) * repeats)
    ]
    with _served(folder) as at, _browser() as browser:
        if browser is None:
            for change in changes[-WARM_UP:]:
                _answer(at, change)
            answers = [_answer(at, change) for change in changes]
            return _figures(NO_BROWSER, [], answers)
        context = browser.new_context(base_url=at.home, viewport={"width": 820, "height": 1180})
        context.add_cookies([{"name": at.cookie, "value": at.session, "url": at.home}])
        page = context.new_page()
        page.goto(at.page)
        for change in changes[-WARM_UP:]:
            page.evaluate(REDRAW, change)
        taken = [page.evaluate(REDRAW, change) for change in changes]
        context.close()
        redraws, answers = ([float(one[column]) for one in taken] for column in (0, 1))
        return _figures(f"Chromium {browser.version}", redraws, answers)


def _figures(measured_in: str, redraws: list[float], answers: list[float]) -> RedrawFigures:
    drawn = quantiles(redraws, n=20) if redraws else None
    answered = quantiles(answers, n=20)
    return RedrawFigures(
        measured_in=measured_in,
        redraws=len(answers),
        redraw_p50_ms=round(drawn[9], 1) if drawn else None,
        redraw_p95_ms=round(drawn[18], 1) if drawn else None,
        redraw_slowest_ms=round(max(redraws), 1) if redraws else None,
        answer_p50_ms=round(answered[9], 1),
        answer_p95_ms=round(answered[18], 1),
    )


@contextmanager
def _served(folder: Path) -> Iterator[Plan]:
    environment = environment_of(f"sqlite:///{folder / 'redraw.sqlite3'}", folder)
    with Hand(SERVER, environment=environment) as server:
        made = server.answer()
        line = server.line()
        if "http://" not in line:
            raise BenchError(line)
        home = "http://" + line.partition("http://")[2].partition("/")[0]
        yield Plan(home=home, **made)


@contextmanager
def _browser() -> Iterator[Any]:
    """A Chromium, or None where neither it nor what drives it is installed."""
    try:
        from playwright.sync_api import Error, sync_playwright
    except ImportError:
        yield None
        return
    with sync_playwright() as driver:
        found = shutil.which("chromium") or shutil.which("chromium-browser")
        try:
            browser = driver.chromium.launch(executable_path=found, args=list(ARGUMENTS))
        except Error:
            browser = None
        yield browser
        if browser is not None:
            browser.close()


def _answer(at: Plan, changed: dict[str, str]) -> float:
    """Milliseconds of one answer to a client without a screen."""
    form = {**plan.change(300, changed["shape"]), "span": changed["span"], "csrfmiddlewaretoken": FORM_TOKEN}
    request = Request(at.home + at.cut, urlencode(form).encode(), method="POST")  # noqa: S310  # our own server
    request.add_header("Cookie", f"{at.cookie}={at.session}; wearwindow-form={FORM_TOKEN}")
    request.add_header("HX-Request", "true")
    begun = perf_counter()
    with urlopen(request, timeout=30) as answer:  # noqa: S310
        content = answer.read()
    if b"large-number" not in content:
        raise BenchError("no cut came back")
    return (perf_counter() - begun) * 1000
