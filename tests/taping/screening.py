"""Answers for the screens of the tests."""

from taping.rules.skin import QUESTIONS


def answers(**given: str) -> dict[str, str]:
    """Every question answered no, but for those given; an empty answer leaves the question open."""
    return {question.key: given.get(question.key, "no") for question in QUESTIONS}
