"""What of a person's record goes when it is erased, and what stays without a name."""

GOES = (
    "Name, what they are called, date of birth, telephone, e-mail address, number in another system, notes",
    "Helpers, parents and guardians, with all that is known of them",
    "Everything written freely: notes on screens, tapes, skin reports, visits and calls, and the patient's own words",
    "Words and addresses of every message, what gateways said about them, and the patient's links",
    "Skin screens that were begun, and lines of lists from other programs that name this person",
)
STAYS = (
    "That somebody was taped: place, days, cut and tension, how it ended, how the skin was, pain from 0 to 10",
    "The answers of the skin screens, without notes, and what was judged of skin reports",
    "That a message went or a visit took place, and when; who of the staff did what",
    "The event log, which holds numbers and names of fields and never held a name",
)
NAME = "Erased record"


def refusals(*, on_skin: int, reports_open: int, visits_ahead: int, lists_open: int) -> list[str]:
    """Why a record cannot be erased now, each with what to do first; empty where it can."""
    found = []
    if on_skin:
        found.append(
            "Tape is on the skin, and whoever must be called about it needs a name and a number. "
            "End the tape, or hand it to the call list and erase the record once somebody has ended it."
        )
    if reports_open:
        found.append("A skin report is open: a therapist closes it first.")
    if visits_ahead:
        found.append("A visit is booked: cancel it first.")
    if lists_open:
        found.append("A list of patients that names this person is not written yet: write it or drop it first.")
    return found
