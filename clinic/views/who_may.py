"""Who may open each address, as the code says it."""

from collections.abc import Iterator
from dataclasses import dataclass

from django.urls import URLPattern, URLResolver, get_resolver

from clinic.views.access import STAFF


@dataclass(frozen=True, slots=True)
class Door:
    """One address. roles: who of the staff may; open: everybody may, a stranger too, and the page itself decides."""

    name: str
    route: str
    roles: frozenset[str]
    open: bool

    def may(self, role: str) -> bool:
        return self.open or role in self.roles


def doors() -> list[Door]:
    """Every address of the program, in the order of their names."""
    return sorted(_walk(get_resolver().url_patterns, ""), key=lambda door: door.name)


def _walk(patterns: list[URLPattern | URLResolver], before: str) -> Iterator[Door]:
    for pattern in patterns:
        route = before + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            yield from _walk(pattern.url_patterns, route)
        else:
            view = pattern.callback
            is_open = not getattr(view, "login_required", True)
            yield Door(str(pattern.name), route, frozenset(getattr(view, "roles", STAFF)), is_open)
