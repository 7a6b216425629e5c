"""What a new clinic has to set before the first tape: for each step whether it is done, and why it is asked."""

from dataclasses import dataclass

UNNAMED = "Our clinic"
"""The name a clinic has before anybody gave it one."""


@dataclass(frozen=True, slots=True)
class Facts:
    """What stands in the settings and in the tables beside them."""

    name: str
    telephone: str
    emergency_number: str
    out_of_hours_advice: str
    duty_address: str
    has_hours: bool
    has_therapist: bool
    managers: int
    has_measured_roll: bool
    sends_mail: bool
    sends_texts: bool


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to set. required: without it a patient could be left without an answer, or a therapist without work."""

    key: str
    words: str
    why: str
    done: bool
    required: bool = True


def first_steps(facts: Facts) -> tuple[Step, ...]:
    """Every step in the order in which it is best done, those that are needed first."""
    return _required(facts) + _advised(facts)


def _required(facts: Facts) -> tuple[Step, ...]:
    return (
        Step("name", "The clinic's name", "Every message begins with it.", facts.name not in ("", UNNAMED)),
        Step(
            "telephone", "The telephone that patients call", "Every message says whom to call.", bool(facts.telephone)
        ),
        Step(
            "emergency_number",
            "The emergency number",
            "Trouble breathing or a swollen tongue comes before the tape, on every page a patient gets.",
            bool(facts.emergency_number),
        ),
        Step(
            "out_of_hours_advice",
            "What to do outside opening hours",
            "A patient whose skin reacts at night is told this at once.",
            bool(facts.out_of_hours_advice),
        ),
        Step(
            "hours",
            "Opening hours",
            "Visits are offered only then.",
            facts.has_hours,
        ),
        Step("therapist", "A therapist", "Only a therapist, or a student with one, screens skin.", facts.has_therapist),
    )


def _advised(facts: Facts) -> tuple[Step, ...]:
    return (
        Step(
            "duty_address",
            "The address that hears of a reaction at night",
            "Without it a skin report outside opening hours waits for the morning.",
            bool(facts.duty_address),
            required=False,
        ),
        Step(
            "roll",
            "A roll of tape measured with a ruler",
            "Until then cut lengths rest on rough numbers, and the page says so.",
            facts.has_measured_roll,
            required=False,
        ),
        Step(
            "mail",
            "A mail server",
            "Until EMAIL_URL is set, mails are files in a folder and reach nobody.",
            facts.sends_mail,
            required=False,
        ),
        Step(
            "texts",
            "A gateway for text messages",
            "Until SMS_GATEWAY_URL is set, texts are files in a folder and reach nobody.",
            facts.sends_texts,
            required=False,
        ),
        Step(
            "second_manager",
            "A second manager",
            "If one loses the telephone that makes the codes, the other lets them in again.",
            facts.managers > 1,
            required=False,
        ),
    )
