"""The keyboard alone: Tab to a control, then the key that works it; every stop on the way is looked at."""

from itertools import pairwise
from typing import Any

from playwright.sync_api import Locator, Page

STOP = """target => {
    const here = document.activeElement;
    const all = [...document.querySelectorAll("*")];
    const label = here.labels ? here.labels[0] : null;
    const shown = [here, here.nextElementSibling, label].filter(Boolean);
    const ring = shown.some(one => {
        const style = getComputedStyle(one);
        return style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2;
    });
    const box = here.getBoundingClientRect();
    const seen = [0.1, 0.5, 0.9].some(right => [0.1, 0.5, 0.9].some(down => {
        const hit = document.elementFromPoint(box.left + box.width * right, box.top + box.height * down);
        return hit && (here.contains(hit) || hit.contains(here) && hit.tagName !== "MAIN" && hit.tagName !== "BODY"
            || label && label.contains(hit));
    }));
    const sticks = (one) => one && (getComputedStyle(one).position === "sticky" || sticks(one.parentElement));
    const same = (one) => one === here || here.type === "radio" && one.type === "radio" && one.name === here.name;
    return {
        at: all.indexOf(here), words: (here.ariaLabel || here.textContent || here.name || "").trim().slice(0, 60),
        tag: here.tagName, type: here.type || "", name: here.name || "", ring, seen, sticks: Boolean(sticks(here)),
        left: box.left + scrollX, right: box.right + scrollX, top: box.top + scrollY, body: here === document.body,
        reached: Boolean(target) && same(target), exactly: here === target,
    };
}"""
TABBABLE = """() => {
    const radios = new Set(), controls = "a[href], button, input, select, textarea, summary, [tabindex]";
    return [...document.querySelectorAll(controls)].filter(one => {
        if (one.disabled || one.type === "hidden" || one.tabIndex < 0 || !one.checkVisibility()) { return false; }
        if (one.type !== "radio") { return true; }
        const group = one.name, first = !radios.has(group);
        radios.add(group);
        return first;
    }).length;
}"""
FIRST_IS_POSITIVE = "() => [...document.querySelectorAll('[tabindex]')].filter(one => one.tabIndex > 0).length"
MOST = 400
"""No page has so many stops; after so many the keyboard is caught."""


class Keys:
    """Tab, Enter, Space and the arrows. faults: what was wrong with a stop, in words."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.faults: list[str] = []
        # Without it a stop is looked at while the page is still gliding to it.
        page.emulate_media(reduced_motion="reduce")

    def press(self, control: Locator) -> None:
        stop = self._reach(control)
        self.page.keyboard.press("Space" if stop["type"] in ("checkbox", "radio") else "Enter")

    def answer(self, control: Locator) -> None:
        """Into the group by Tab, to the answer by the arrows, which choose; the first one is chosen by Space."""
        stop = self._reach(control)
        target = control.element_handle()
        for _ in range(MOST):
            if stop["exactly"]:
                break
            self.page.keyboard.press("ArrowDown")
            stop = self.page.evaluate(STOP, target)
        if not control.is_checked():
            self.page.keyboard.press("Space")
        assert control.is_checked()

    def write(self, field: Locator, text: str) -> None:
        self._reach(field)
        self.page.keyboard.type(text)

    def _reach(self, control: Locator) -> dict[str, Any]:
        control.wait_for(state="attached")
        target = control.element_handle()
        for _ in range(MOST):
            self.page.keyboard.press("Tab")
            stop: dict[str, Any] = self.page.evaluate(STOP, target)
            if stop["reached"]:
                self._look(stop)
                return stop
        raise AssertionError(f"Tab never reaches {control}")

    def round_trip(self) -> None:
        """Once through the page: every control is a stop, each is seen with its ring, in the order of reading."""
        stops = self._stops()
        for before, stop in pairwise(stops):
            self._look(stop)
            backwards = stop["top"] < before["top"] - 4 and stop["left"] < before["right"] - 4
            if backwards and not (stop["sticks"] or before["sticks"]):
                self.faults.append(f"{self._where(stop)} comes after {before['words']!r} and stands before it")
        expected = self.page.evaluate(TABBABLE)
        if len(stops) != expected:
            self.faults.append(f"{self.page.url}: {len(stops)} stops for {expected} controls")
        if self.page.evaluate(FIRST_IS_POSITIVE):
            self.faults.append(f"{self.page.url}: the order is set by hand")

    def _stops(self) -> list[dict[str, Any]]:
        """The page's stops from its first control to its last."""
        found: dict[int, dict[str, Any]] = {}
        for _ in range(MOST):
            self.page.keyboard.press("Tab")
            stop = self.page.evaluate(STOP, None)
            last = next(reversed(found), None)
            if stop["body"] or stop["at"] == last:
                continue  # a time has a stop for the hours and one for the minutes
            if stop["at"] in found:
                return [found[at] for at in self._from_the_top(list(found))]
            found[stop["at"]] = stop
        raise AssertionError(f"the keyboard is caught on {self.page.url}")

    @staticmethod
    def _from_the_top(order: list[int]) -> list[int]:
        first = order.index(min(order))
        return [*order[first:], *order[:first]]

    def _look(self, stop: dict[str, Any]) -> None:
        if not stop["ring"]:
            self.faults.append(f"{self._where(stop)} does not show that it has the focus")
        if not stop["seen"]:
            self.faults.append(f"{self._where(stop)} is hidden while it has the focus")

    def _where(self, stop: dict[str, Any]) -> str:
        return f"{self.page.url}: {stop['tag'].lower()} {stop['name']} {stop['words']!r}"
