"""How the tape comes off, as pictures inside a mail: seen without opening a link, and without asking any other host."""

from dataclasses import dataclass

from reminders.rules.kinds import MessageKind
from reminders.rules.words import place_words
from reminders.services.tape_now import remover_of
from reminders.services.wording import Saying
from reminders.sheets.drawn import Where, strips_drawn, wheres_of
from reminders.transports import ImagePart
from taping.drawings.raster import removal_png
from taping.models import Application
from taping.rules.places import Side
from taping.rules.removal import Remover, is_raw

SHOWS = frozenset({MessageKind.REMOVAL_DAY, MessageKind.REMOVAL_OVERDUE})
"""The mails that say the steps."""


@dataclass(frozen=True, slots=True)
class MailPicture:
    """One picture: a heading where the tape or strip changes, what it shows, its sentence, and the part it is."""

    heading: str
    told: str
    text: str
    part: ImagePart


def mail_pictures(saying: Saying) -> list[MailPicture]:
    """The pictures of each strip, the top one first, of the tapes that come off without the clinic.

    Empty over raw skin, where every picture would pull. A query a tape of which the saying does not bring them.
    """
    if saying.kind not in SHOWS or is_raw(saying.signs):
        return []
    tapes = [tape for tape in saying.applications if remover_of(tape) is not Remover.CLINIC]
    return [one for tape in tapes for one in _of_tape(tape, saying, named=len(saying.applications) > 1)]


def _of_tape(tape: Application, saying: Saying, *, named: bool) -> list[MailPicture]:
    side, wheres, tongue = Side(tape.side), wheres_of(tape, saying.places.get(tape.pk)), saying.tongue
    place = place_words(tape.region, tape.side, tongue) if named else ""
    found = []
    for where, strip in zip(wheres, strips_drawn(wheres, side, _name, tongue), strict=True):
        for index, one in enumerate(strip.pictures):
            heading = ": ".join(word for word in (place, strip.rank) if word) if index == 0 else ""
            # Unlike that of any other mail (RFC 2392): a program that keeps parts by name would mix up two knees.
            cid = f"{one.address}.{saying.row.key.hex}@wearwindow"
            part = ImagePart(cid, removal_png(where, side, one.number, tongue), f"{one.address}.png")
            found.append(MailPicture(heading[:1].upper() + heading[1:], one.told, one.text, part))
    return found


def _name(where: Where, side: Side, number: int) -> str:
    return f"{where.key}-{side}-{number}"
