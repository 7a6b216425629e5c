"""The questions about the person: asked once a visit, kept with each screen, and what a later answer means for both."""

from collections.abc import Iterable, Mapping

from taping.rules.skin import QUESTIONS, About, Answer, Answers, Question, questions_for

PERSON_KEYS = frozenset(question.key for question in QUESTIONS if question.about is About.PERSON)


def person_answers(answers: Mapping[str, str]) -> dict[str, str]:
    """Return the answers about the person alone."""
    return {key: answer for key, answer in answers.items() if key in PERSON_KEYS}


def person_changed(answers: Answers, *, goal: str | None, later: Iterable[Answers]) -> tuple[Question, ...]:
    """Return the questions about the person that later screens of the day answer otherwise than this one.

    later: the answers of the screens asked after it, in their order. Of each question the last answer counts, and
    what a later screen leaves unanswered says nothing. Questions that this screen's goal leaves out do not count.

    Raises:
        GoalError: when the goal is unknown.
    """
    last: dict[str, Answer | str] = {}
    for screen in later:
        last.update({key: answer for key, answer in screen.items() if key in PERSON_KEYS and answer is not None})
    return tuple(
        question
        for question in questions_for(goal, About.PERSON)
        if question.key in last and last[question.key] != answers.get(question.key)
    )
