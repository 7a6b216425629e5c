"""The body figure for a page."""

from collections.abc import Callable

from django.utils.safestring import SafeString, mark_safe

from taping.drawings.figure import figure_svg
from taping.rules.places import View


def figures(
    view: View, address: Callable[[str, str], str], chosen: frozenset[tuple[str, str]] = frozenset()
) -> SafeString:
    """Our own SVG; the addresses in it are escaped where it is made. chosen: regions and sides to mark."""
    return mark_safe(figure_svg(view, address, chosen))
