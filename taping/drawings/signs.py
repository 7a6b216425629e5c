"""A small drawing for each sign that a patient can report: recognised at a glance, said in full by the words beside it.

Lines and fills in the colour of the text, so that they read on light and dark pages and in black and white. They stand
beside their words and say nothing alone, so that whoever listens to the page hears the words only.
"""

from collections.abc import Mapping

from taping.drawings.svg import element

SIZE = 40.0

_SKIN = '<path d="M3 30h34"/>'
_TAPE = '<path class="f" d="M3 12h34v9H3z" opacity=".45"/>'
_LIMB = '<path d="M14 3v34M28 3v34"/><path class="f" d="M14 8h14v8H14z" opacity=".45"/>'
_BOLT = '<path class="f" d="M{} {}l-7 10h5l-2 9 8-11h-5l3-8z"/>'

_INSIDE: Mapping[str, str] = {
    "breathing": '<path d="M20 4v12M20 16l-5 4M20 16l5 4"/>'
    '<path d="M15 13c-6 2-10 10-10 20 0 4 11 3 11-2V20M25 13c6 2 10 10 10 20 0 4-11 3-11-2V20"/>',
    "face": '<path d="M20 4c9 0 14 6 14 15 0 10-6 18-14 18S6 29 6 19C6 10 11 4 20 4z"/>'
    '<circle class="f" cx="13" cy="15" r="2"/><circle class="f" cx="27" cy="15" r="2"/>'
    '<path class="f" d="M10 27c3-6 8-5 10-2 2-3 7-4 10 2-4 8-16 8-20 0z"/>',
    "faint": '<circle cx="9" cy="26" r="4.5"/><path d="M14 28l14-1 9 4M18 27l5 7M3 36h34"/>'
    '<path d="M14 12c-3-4 3-8 6-5s-1 8-5 7M26 14c-2-3 3-6 5-3s-1 6-4 5"/>',
    "chest": '<path d="M15 3v4c0 3-11 3-12 9v21M25 3v4c0 3 11 3 12 9v21M10 20v17M30 20v17"/>' + _BOLT.format(22, 14),
    "cold": _LIMB + '<path d="M21 20v16M14.1 24l13.8 8M14.1 32l13.8-8M18 21l3 3 3-3M18 35l3-3 3 3"/>',
    "numb": _LIMB
    + '<g class="f"><circle cx="18" cy="21" r="1.3"/><circle cx="24" cy="21" r="1.3"/><circle cx="21" cy="25" r="1.3"/>'
    '<circle cx="18" cy="29" r="1.3"/><circle cx="24" cy="29" r="1.3"/><circle cx="21" cy="33" r="1.3"/></g>',
    "weak": '<path d="M5 8h12c5 0 7 3 7 8v12c0 3-6 3-6 0V17H5"/><path d="M32 12v20M27 27l5 6 5-6"/>',
    "limb": '<path d="M14 2v6c-9 5-9 20 0 28v2M26 2v6c9 5 9 20 0 28v2"/>'
    '<path class="f" d="M14 4h12v5H14z" opacity=".45"/><path d="M17 23H9M12 20l-3 3 3 3M23 23h8M28 20l3 3-3 3"/>',
    "calf": '<path d="M13 2c-2 10 0 18 3 30l-9 3v3h17l1-6c5-10 6-18 3-30"/>' + _BOLT.format(25, 8),
    "fever": '<path d="M15 24V7a4 4 0 0 1 8 0v17a8 8 0 1 1-8 0z"/><path class="f" d="M17.5 12h3v13a5 5 0 1 1-3 0z"/>'
    '<path d="M28 8h6M28 14h4M28 20h6"/>',
    "blister": '<path d="M3 30h6M31 30h6M9 30c1-22 21-22 22 0z"/><path d="M15 22c1-4 3-6 6-6"/><path d="M9 30h22"/>',
    "broken": '<path d="M3 22h11l3 6 3-8 3 9 2-7h12"/>'
    '<path class="f" d="M20 30c3 4 4 5 4 7a4 4 0 0 1-8 0c0-2 1-3 4-7z"/>'
    '<path d="M8 14l4-6M18 13l2-7M27 14l4-5"/>',
    "hives": '<path d="M5 9c3-6 12-4 11 2s-12 6-11-2zM21 8c5-5 14-1 13 4s-15 5-13-4zM8 24c4-5 13-3 12 3s-15 5-12-3z'
    'M25 26c2-5 11-4 11 2s-12 6-11-2z"/>',
    "pain": _BOLT.format(15, 6) + '<path d="M20 34l6-7 4 3 7-12M31 17h6v6"/>',
    "rash": _SKIN + '<g class="f"><circle cx="8" cy="10" r="2"/><circle cx="16" cy="7" r="1.6"/>'
    '<circle cx="24" cy="11" r="2.4"/><circle cx="32" cy="8" r="1.7"/><circle cx="11" cy="18" r="2.4"/>'
    '<circle cx="20" cy="19" r="1.7"/><circle cx="29" cy="18" r="2.2"/><circle cx="7" cy="25" r="1.6"/>'
    '<circle cx="16" cy="25" r="2"/><circle cx="25" cy="25" r="1.7"/><circle cx="34" cy="24" r="2"/></g>',
    "burning": '<path d="M20 3c2 7 10 10 10 18a10 10 0 0 1-20 0c0-5 3-7 4-11 2 2 3 4 3 6 3-4 4-8 3-13z"/>'
    '<path d="M3 36h34"/>',
    "itching": '<path d="M8 3v15a3 3 0 0 0 6 0V8M14 18v4a3 3 0 0 0 6 0V8M20 20a3 3 0 0 0 6 0V8M26 16a3 3 0 0 0 6 0V3"/>'
    '<path d="M6 37l5-9M14 37l5-9M22 37l5-9M30 37l5-9"/>',
    "redness": '<path class="f" d="M5 16c0-14 30-14 30 2s-28 22-30-2z" opacity=".3"/>'
    + _TAPE
    + '<path d="M8 30l4 5M16 31l3 5M25 29l4 5M12 4l2 4M24 3l-1 5"/>',
}


def sign_svg(picture: str) -> str:
    """The drawing with this key, as SVG to stand within a page. Raises KeyError where there is none."""
    inside = _INSIDE[picture].replace(' class="f"', ' fill="currentColor" stroke="none"')
    return element(
        "svg",
        inside,
        viewBox=f"0 0 {SIZE:.0f} {SIZE:.0f}",
        fill="none",
        stroke="currentColor",
        stroke_width=2.0,
        stroke_linecap="round",
        stroke_linejoin="round",
        aria_hidden="true",
        focusable="false",
    )
