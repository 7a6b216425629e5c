"""Who proves a second factor at the log-in."""

from datetime import date
from enum import StrEnum


class CodeNeed(StrEnum):
    """no: whoever wants to. soon: everybody, from a day that is still to come. now: before anything else."""

    NO = "no"
    SOON = "soon"
    NOW = "now"


def code_need(*, managers: bool, is_manager: bool, everybody_from: date | None, today: date) -> CodeNeed:
    """Whether somebody logs in with a code as well. managers: whether every manager does, whatever the day.

    everybody_from: the first day on which everybody does, in the clinic's zone as today is; None: never. The days until
    then are for setting it up in peace; nobody is locked out afterwards either: it is set up before other pages open.
    """
    if (managers and is_manager) or (everybody_from is not None and everybody_from <= today):
        return CodeNeed.NOW
    return CodeNeed.NO if everybody_from is None else CodeNeed.SOON
