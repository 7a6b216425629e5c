"""Whether somebody may go home with tape on: who could tell them that it has to come off, or would take it off.

Common practice, no source.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Ways:
    """What is known of a patient with tape on. An address that was refused for good is no way.

    telephone: a number to dial, the patient's or a helper's. messages: agreed to, with an address to go to.
    helper: a named helper takes the tape off. visit: a visit to take it off is booked.
    """

    telephone: bool = False
    messages: bool = False
    helper: bool = False
    visit: bool = False


@dataclass(frozen=True, slots=True)
class Leaving:
    """may: at least one way is left. reasons: which ways there are, or what would be one."""

    may: bool
    reasons: tuple[str, ...]


_WAYS = (
    ("telephone", "we can call them", "a telephone number, theirs or a helper's"),
    ("messages", "our messages reach them", "their agreement to reminders, with an address that works"),
    ("helper", "a helper takes it off", "a named helper who takes the tape off"),
    ("visit", "a visit to take it off is booked", "a booked visit to take it off"),
)


def may_leave(ways: Ways) -> Leaving:
    """Return whether the patient may go: one way is enough, none is too few, whoever takes the tape off."""
    found = tuple(have for name, have, _ in _WAYS if getattr(ways, name))
    return Leaving(bool(found), found or tuple(would for _, _, would in _WAYS))
