"""The body figure for a page."""

from collections.abc import Callable

from django.utils.safestring import SafeString, mark_safe

from taping.drawings.figure import figure_svg
from taping.rules.places import View


def figures(view: View, address: Callable[[str, str], str]) -> SafeString:
    """Our own SVG; the addresses in it are escaped where it is made."""
    return mark_safe(figure_svg(view, address))
