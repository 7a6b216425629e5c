"""One tape at one moment, as the patient's page and the sheets speak of it."""

from collections.abc import Sequence
from datetime import datetime

from clinic.models import Clinic
from clinic.rules.tongue import ENGLISH, Tongue, tongue_of
from clinic.selectors import recipient_of
from reminders.rules.instruction import TapeNow
from reminders.rules.words import place_words
from reminders.selectors.tapes import tape_row
from reminders.services.subjects import patient_zone, removal_visit_of
from taping.models import Application, SkinReport
from taping.rules.clock import local_date
from taping.rules.removal import Remover


def tongue_for(tape: Application, clinic: Clinic) -> Tongue:
    """The language of the tape's page: of whoever gets its messages where it is approved, else the clinic's."""
    return tongue_of(clinic.speaks(recipient_of(tape.patient).language))


def tape_now(tape: Application, *, clinic: Clinic, now: datetime, tongue: Tongue = ENGLISH) -> TapeNow:
    """The tape at now (aware), to be spoken of in tongue. Clock times are the patient's, days the clinic's."""
    row, visit = tape_row(tape, now=now, zone=clinic.zone), removal_visit_of(tape)
    return TapeNow(
        state=row.state,
        now=now,
        zone=patient_zone(tape.patient, clinic),
        adhesion_ends_at=row.adhesion_ends_at,
        water_ends_at=row.water_ends_at,
        removal_day=tape.removal_day,
        remover=remover_of(tape),
        visit_at=visit.starts_at if visit else None,
        helper=tape.helper.call_me if tape.helper else "",
        ended_on=local_date(tape.ended_at, clinic.zone) if tape.ended_at else None,
        tongue=tongue,
        own=clinic.texts.get(tongue.key, {}),
        values={
            "tape": tongue.count("your tape", "your tapes", 1),
            "place": place_words(tape.region, tape.side, tongue),
            "telephone": tongue.number_apart(clinic.telephone),
            "emergency": tongue.number_apart(clinic.emergency_number) or tongue.say("the emergency number"),
            "clinic_name": clinic.name,
        },
    )


def remover_of(tape: Application) -> Remover:
    """Who takes it off now: the clinic where a visit for it stands, as in the messages, else whoever was chosen."""
    return Remover.CLINIC if removal_visit_of(tape) else Remover(tape.removal)


def signs_open(reports: Sequence[SkinReport]) -> list[str]:
    """Every sign nobody has looked at yet: a later, milder report takes nothing back."""
    return [sign for report in reports for sign in report.signs]
