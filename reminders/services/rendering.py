"""From a message to its words on a channel, and to the text that is kept of it."""

import re
from dataclasses import dataclass
from functools import cache
from typing import Any

from django.conf import settings
from django.template import Context, Engine
from django.template.loader import render_to_string

from clinic.models.people import Channel
from reminders.rules.kinds import MessageKind
from reminders.rules.sms import thrifty, to_gsm, within_limit
from reminders.rules.words import numbers_in
from reminders.services.links import MASK
from reminders.services.mail_pictures import mail_pictures
from reminders.services.wording import Saying, words_for
from reminders.transports import ImagePart

FOLDER = "reminders/messages"


class TooLong(ValueError):
    """The words do not fit into a text message."""


@dataclass(frozen=True, slots=True)
class Words:
    """The words of one message. kept is the text as stored, its link masked; stop is the address to stop at.

    images are what the HTML shows.
    """

    text: str
    kept: str
    subject: str = ""
    html: str = ""
    stop: str = ""
    images: tuple[ImagePart, ...] = ()


def render(saying: Saying, channel: str) -> Words:
    """The words on this channel. Raises TooLong for a text message that cannot be made short enough."""
    words = words_for(saying)
    if channel == Channel.EMAIL:
        words["pictures"] = mail_pictures(saying)
    return say(saying.row.kind, channel, words)


def say(kind: str, channel: str, words: dict[str, Any]) -> Words:
    """The templates of this kind, filled with words. Raises TooLong as render does."""
    return _sms(kind, words) if channel == Channel.SMS else _mail(kind, words)


def _sms(kind: str, words: dict[str, Any]) -> Words:
    safety = MessageKind(kind).is_safety
    for short in (False, True):
        text = sms_text(kind, words, short=short)
        if within_limit(text, safety=safety):
            return Words(text, masked(text, words))
    raise TooLong(f"the text of {kind} is too long for a text message")


def sms_text(kind: str, words: dict[str, Any], *, short: bool) -> str:
    """The text message of this kind as it would go out, whole or in its short form, however long that is."""
    text = to_gsm(_one_line(_plain(f"{kind}.sms.txt", {**words, "short": short})))
    return thrifty(text, words["speech"].tongue.key)


def mail_text(kind: str, words: dict[str, Any]) -> tuple[str, str]:
    """The subject and the text of a mail of this kind, without its page and pictures."""
    return _one_line(_plain(f"{kind}.subject.txt", words)), _blank_lines_closed(_plain(f"{kind}.txt", words))


def masked(text: str, words: dict[str, Any]) -> str:
    """The text with [link] in place of each address of the patient's page."""
    for link in _links(words):
        text = text.replace(link, MASK)
    return text


def _mail(kind: str, words: dict[str, Any]) -> Words:
    subject, text = mail_text(kind, words)
    # The page says the same words: made from the text, they cannot drift apart.
    blocks = _blocks(text, words)
    html = render_to_string(f"{FOLDER}/{kind}.html", {**words, "subject": subject, "blocks": blocks})
    shown = any(block.get("steps") for block in blocks)
    images = tuple(one.part for one in words.get("pictures", ()) if shown)
    return Words(text, masked(text, words), subject, html, words.get("stop_link", ""), images)


@cache
def _engine() -> Engine:
    """Plain text wants no escaping: a patient called O'Neil is not O&#x27;Neil."""
    return Engine(
        dirs=[str(settings.BASE_DIR / "templates")],
        autoescape=False,
        debug=False,
        builtins=["reminders.templatetags.sentences"],
    )


def _plain(name: str, words: dict[str, Any]) -> str:
    return _engine().get_template(f"{FOLDER}/{name}").render(Context(words, autoescape=False))


def _links(words: dict[str, Any]) -> list[str]:
    return [link for link in (words.get("link"), *words.get("other_links", []), words.get("stop_link")) if link]


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _blank_lines_closed(text: str) -> str:
    return re.sub(r"\n{3,}", "\n\n", "\n".join(line.rstrip() for line in text.strip().splitlines())) + "\n"


def _blocks(text: str, words: dict[str, Any]) -> list[dict[str, Any]]:
    """Paragraphs and lists of a text: {"points": [...]} for lines that begin with "- ", else {"lines": [...]}.

    steps marks the list of how it comes off, after which the pictures stand.
    """
    links = set(_links(words))
    blocks: list[dict[str, Any]] = []
    for paragraph in text.strip().split("\n\n"):
        lines = paragraph.splitlines()
        if all(line.startswith("- ") for line in lines):
            points = [line.removeprefix("- ") for line in lines]
            blocks.append({"points": [numbers_in(point) for point in points], "steps": points == words.get("steps")})
        else:
            blocks.append(
                {"lines": [{"text": line, "pieces": numbers_in(line), "link": line in links} for line in lines]}
            )
    return blocks
