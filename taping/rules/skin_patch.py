"""When a patch test may be done here, when it is read, and what it cannot show."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from taping.rules.clock import elapsed, require_aware
from taping.rules.skin import Answer, Answers, check_answers
from taping.rules.skin_questions import QUESTIONS, Patch

READ_FROM = timedelta(hours=48)
READ_UNTIL = timedelta(hours=72)

NEVER_SAFE = "A negative patch test does not show that tape is safe."


@dataclass(frozen=True, slots=True)
class PatchRule:
    """Whether the therapist may do a patch test here, and why."""

    allowed: bool
    reasons: tuple[str, ...]


def patch_test_allowed(answers: Answers) -> PatchRule:
    """Return whether a patch test may be done here, from the answers of the skin screen.

    Only after a mild earlier reaction, and only when every question about a severe one is answered no: after a
    severe reaction a test belongs to a skin doctor or allergist. That is common practice, no source.

    Raises:
        AnswerError: as for ``judge``.
    """
    check_answers(answers)
    severe = [question for question in QUESTIONS if question.patch is Patch.SEVERE]
    against = [question.text for question in severe if answers.get(question.key) == Answer.YES]
    if against:
        return PatchRule(False, ("Never here after a severe reaction; a skin doctor or allergist tests.", *against))
    open_texts = [question.text for question in severe if answers.get(question.key) != Answer.NO]
    if open_texts:
        return PatchRule(False, ("Not before severe reactions are ruled out.", *open_texts))
    mild = [
        question.text
        for question in QUESTIONS
        if question.patch is Patch.MILD and answers.get(question.key) == Answer.YES
    ]
    if not mild:
        return PatchRule(False, ("Only after a mild earlier reaction, and none is answered yes.",))
    read = "By the therapist, read 48 to 72 hours after it went on."
    return PatchRule(True, ("A mild earlier reaction.", *mild, read, NEVER_SAFE))


def patch_reading_times(applied_at: datetime) -> tuple[datetime, datetime]:
    """Return from when until when the test is read: 48 to 72 hours of elapsed time, in the zone of ``applied_at``.

    Source: occlusion of 48 hours and readings on day 2 and 3 (ESCD 2015, from memory).

    Raises:
        ClockError: when the time is naive.
    """
    start = require_aware("The time of the patch test", applied_at)
    return elapsed(start, READ_FROM), elapsed(start, READ_UNTIL)
