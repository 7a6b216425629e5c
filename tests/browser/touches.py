"""Counts what a person does to a page: in a test that uses it nothing else can reach the page, so none is forgotten."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import pytest
from playwright.sync_api import ElementHandle, Frame, Keyboard, Locator, Mouse, Page, Touchscreen

from taping.rules.removal import REMOVAL_QUESTIONS
from taping.rules.skin import QUESTIONS

SKIN = {question.key for question in QUESTIONS}
REMOVAL = {"removal", "helper_ready", *(question.key for question in REMOVAL_QUESTIONS)}
"""What is asked at handing over: who takes the tape off, and whether they can. Answers, counted beside the taps."""
NUMBERS = ("decimal", "numeric")
ACTS = {
    "blur", "check", "clear", "click", "dblclick", "dispatch_event", "down", "drag_and_drop", "drag_to", "drop", "fill",
    "focus", "go_back", "go_forward", "goto", "hover", "insert_text", "move", "press", "press_sequentially", "reload",
    "select_option", "select_text", "set_checked", "set_content", "set_input_files", "tap", "type", "uncheck", "up",
    "wheel",
}  # fmt: skip
COUNTED = {"tap", "fill"}
WHAT = """element => {
    const control = element.control || element;
    const labels = [...(control.labels || [])].map(label => label.textContent.trim());
    const words = element.ariaLabel || element.textContent.trim() || labels.join(" ");
    return [control.name || "", control.inputMode || "", words.replace(/\\s+/g, " ")];
}"""


@dataclass
class Touches:
    """What was done so far. An answer or a number is not among the taps; the tap into a field to type in is."""

    taps: list[str] = field(default_factory=list)
    skin_answers: list[str] = field(default_factory=list)
    removal_answers: list[str] = field(default_factory=list)
    numbers: list[str] = field(default_factory=list)
    typed: list[str] = field(default_factory=list)

    @property
    def every_one(self) -> int:
        """How often the screen was touched, answers included."""
        return len(self.taps) + len(self.skin_answers) + len(self.removal_answers)

    def tapped(self, target: Locator) -> None:
        name, _, words = target.evaluate(WHAT)
        if name in SKIN and "/screen/" in target.page.url:
            self.skin_answers.append(name)
        elif name in REMOVAL:
            self.removal_answers.append(name)
        else:
            self.taps.append(words or name)

    def filled(self, target: Locator) -> None:
        name, keys, _ = target.evaluate(WHAT)
        (self.numbers if keys in NUMBERS else self.typed).append(name)


def count_touches(patch: pytest.MonkeyPatch) -> Touches:
    """From now on a locator's tap and fill are counted and every other way to act on a page is refused."""
    touches = Touches()
    for kind in (ElementHandle, Frame, Keyboard, Locator, Mouse, Page, Touchscreen):
        for name in ACTS & set(dir(kind)):
            if kind is not Locator or name not in COUNTED:
                patch.setattr(kind, name, _refused(f"{kind.__name__}.{name}"))
    tap, fill = Locator.tap, Locator.fill

    def counted_tap(target: Locator, *args: Any, **kwargs: Any) -> None:
        touches.tapped(target)
        tap(target, *args, **kwargs)

    def counted_fill(target: Locator, *args: Any, **kwargs: Any) -> None:
        assert target.evaluate("element => element === document.activeElement"), "tap the field before typing in it"
        touches.filled(target)
        fill(target, *args, **kwargs)

    patch.setattr(Locator, "tap", counted_tap)
    patch.setattr(Locator, "fill", counted_fill)
    return touches


def _refused(name: str) -> Callable[..., Any]:
    def refuse(*args: Any, **kwargs: Any) -> Any:
        raise AssertionError(f"{name} is not counted: tap a control, or fill the field that was tapped")

    return refuse
