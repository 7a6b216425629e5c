"""The theme's colours, computed: contrast by the formula of WCAG 2.2 (relative luminance, 1.4.3 and 1.4.11)."""

import re
from pathlib import Path

import pytest

CSS = (Path(__file__).resolve().parents[2] / "static/css/wearwindow.css").read_text(encoding="utf-8")
SCHEMES = ("light", "dark")
TONES = ("good", "care", "stop", "info", "quiet")
TEXT, PART = 4.5, 3.0


def colours(scheme: str) -> dict[str, str]:
    """The variables of one scheme that are plain colours."""
    block = re.search(rf'\[data-bs-theme="{scheme}"\] \{{\n(.*?)\n\}}', CSS, re.DOTALL)
    assert block
    return dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", block.group(1)))


def luminance(colour: str) -> float:
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_formula_gives_the_standards_own_extremes() -> None:
    """WCAG 2.2, "contrast ratio": 1 to 21."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)  # the well-known grey that just fails


@pytest.mark.parametrize("scheme", SCHEMES)
def test_text_stands_out_on_every_ground_it_is_used_on(scheme: str) -> None:
    of = colours(scheme)
    pairs = [(ink, ground) for ink in ("ink", "ink-soft", "main") for ground in ("ground", "surface")]
    pairs += [("on-main", "main"), ("on-main", "main-deep"), ("ink", "main-soft"), ("ink-soft", "main-soft")]
    pairs += [(f"{tone}-ink", f"{tone}-ground") for tone in TONES]
    pairs += [("stop-ink", "surface"), ("main-deep", "ground"), ("main", "main-soft")]
    assert {
        pair: contrast(of[pair[0]], of[pair[1]]) for pair in pairs if contrast(of[pair[0]], of[pair[1]]) < TEXT
    } == {}


@pytest.mark.parametrize("scheme", SCHEMES)
def test_edges_of_controls_and_states_can_be_seen(scheme: str) -> None:
    of = colours(scheme)
    pairs = [("edge", "surface"), ("edge", "ground"), ("main", "surface"), ("main", "ground")]
    pairs += [(f"{tone}-edge", ground) for tone in TONES for ground in ("surface", "ground")]
    assert {
        pair: contrast(of[pair[0]], of[pair[1]]) for pair in pairs if contrast(of[pair[0]], of[pair[1]]) < PART
    } == {}


def test_both_schemes_define_the_same_colours() -> None:
    """A colour missing in one would fall back to the other's and be unreadable there."""
    assert set(colours("light")) == set(colours("dark"))


def test_targets_are_48_pixels() -> None:
    """3rem at the browsers' 16 px; the size is used by buttons, fields, ticks and choices."""
    assert "--target: 3rem;" in CSS
    for selector in (r"^\.btn \{", r"^\.form-control, \.form-select \{", r"^\.form-check \{", r"^\.site-links a \{"):
        rule = re.search(selector + r".*?\}", CSS, re.DOTALL | re.MULTILINE)
        assert rule
        assert "min-height: var(--target)" in rule.group()
