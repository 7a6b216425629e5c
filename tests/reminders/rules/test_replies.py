"""What a text from a patient asks for."""

import pytest

from reminders.rules.replies import OFF_WORDS, START_WORDS, STOP_WORDS, Reply, classify


# 47 CFR 64.1200(a)(10), United States: these words revoke consent.
@pytest.mark.parametrize("word", ["stop", "quit", "end", "revoke", "opt out", "cancel", "unsubscribe"])
def test_every_word_of_the_regulation_withdraws_consent_against_cfr(word: str) -> None:
    assert classify(word) is classify(word.upper()) is classify(word.title()) is Reply.STOP


@pytest.mark.parametrize(
    "text",
    [
        " STOP ",
        "Stop.",
        "stop!!!",
        '"STOP"',
        "ARRET",
        "Arr\u00eat",
        "ARRE\u0302T",
        "opt-out",
        "OptOut",
        "stop all",
        "STOPALL",
        "please stop",
        "Stop, please!",
        "STOP thanks",
        "Stop. Thank you",
        "pls stop thx",
        "\uff33\uff34\uff2f\uff30",
        "stop \U0001f64f",
        "s\u200btop",
        "stop\n",
    ],
)
def test_a_stop_is_heard_however_it_is_written(text: str) -> None:
    assert classify(text) is Reply.STOP


@pytest.mark.parametrize(
    "text",
    [
        "please stop the pain",
        "stop it",
        "don't stop",
        "stopped",
        "non-stop",
        "the end",
        "cancel my visit",
        "I quit running",
        "stop stop the tape burns",
        "off work until Monday",
        "is it off?",
        "take it off?",
        "not off",
        "offf",
        "start?now",
        "when may I start",
        "thanks",
        "please",
        "",
        "  ",
        "\U0001f44d",
        "\u0627\u0644\u0633\u0644\u0627\u0645",
    ],
)
def test_anything_else_is_for_a_person(text: str) -> None:
    assert classify(text) is Reply.OTHER


@pytest.mark.parametrize("text", ["START", "start please", "Unstop."])
def test_a_start_gives_consent_back(text: str) -> None:
    assert classify(text) is Reply.START


@pytest.mark.parametrize("text", ["OFF", "off", "Off!", " off, thanks ", "off \u2705"])
def test_an_off_is_heard(text: str) -> None:
    assert classify(text) is Reply.OFF


def test_no_word_means_two_things() -> None:
    everything = [*STOP_WORDS, *START_WORDS, *OFF_WORDS]

    assert len(everything) == len(set(everything))


@pytest.mark.parametrize("word", sorted(STOP_WORDS | START_WORDS | OFF_WORDS))
def test_every_word_on_the_lists_can_be_reached(word: str) -> None:
    assert classify(word) is not Reply.OTHER
