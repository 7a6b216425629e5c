"""What an entry for the removal day says: common practice, no source.

Calendars are shared with families and employers, and an entry stays as it was saved: so no name, no place on the body,
no address, and nothing that would be wrong on sore skin or in a helper's calendar.
"""

from clinic.rules.tongue import ENGLISH, Tongue
from taping.rules.removal import Remover


def removal_entry_name(clinic: str, tongue: Tongue = ENGLISH) -> str:
    """Return the entry's name, with the clinic's."""
    return tongue.say("Tape comes off: {clinic}", clinic=clinic)


def removal_entry_words(remover: Remover, telephone: str, tongue: Tongue = ENGLISH) -> str:
    """Return what stands below the entry's name; telephone is the clinic's and may be empty."""
    say = tongue.say
    how = {
        Remover.HOME: say(
            "At home. Slowly, never rip: the steps are on the page in our message. Earlier is always allowed."
        ),
        Remover.HELPER: say(
            "With a helper, not alone: the steps are on the page in our message. Earlier is always allowed."
        ),
        Remover.CLINIC: say("At the clinic, not at home. Please call us for a time. Earlier is always allowed."),
    }[remover]
    words = [how, say("Blister or raw skin: do not pull, call us first.")]
    if telephone:
        words.append(say("Questions? Call us: {telephone}", telephone=tongue.number_apart(telephone)))
    return " ".join(words)
