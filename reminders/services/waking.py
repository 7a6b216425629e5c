"""A wake-up makes the engine look now instead of at its next tick; losing one costs a delay and nothing more."""

from threading import Event

_bell = Event()


def wake() -> None:
    """Ring for the ticker of this process, if there is one."""
    _bell.set()


def wait(seconds: float) -> None:
    """Sleep until rung or until seconds have passed."""
    _bell.wait(seconds)
    _bell.clear()
