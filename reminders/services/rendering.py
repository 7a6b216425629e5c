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
from reminders.rules.sms import to_gsm, within_limit
from reminders.services.links import MASK
from reminders.services.wording import Saying, words_for

FOLDER = "reminders/messages"


class TooLong(ValueError):
    """The words do not fit into a text message."""


@dataclass(frozen=True, slots=True)
class Words:
    """The words of one message. kept is the text as stored, its link masked; stop is the address to stop at."""

    text: str
    kept: str
    subject: str = ""
    html: str = ""
    stop: str = ""


def render(saying: Saying, channel: str) -> Words:
    """The words on this channel. Raises TooLong for a text message that cannot be made short enough."""
    words = words_for(saying)
    return _sms(saying, words) if channel == Channel.SMS else _mail(saying, words)


def _sms(saying: Saying, words: dict[str, Any]) -> Words:
    safety = MessageKind(saying.row.kind).is_safety
    for short in (False, True):
        text = to_gsm(_one_line(_plain(f"{saying.row.kind}.sms.txt", {**words, "short": short})))
        if within_limit(text, safety=safety):
            return Words(text, _masked(text, words))
    raise TooLong(f"the text of {saying.row.kind} is too long for a text message")


def _mail(saying: Saying, words: dict[str, Any]) -> Words:
    kind = saying.row.kind
    text = _blank_lines_closed(_plain(f"{kind}.txt", words))
    subject = _one_line(_plain(f"{kind}.subject.txt", words))
    # The page says the same words: made from the text, they cannot drift apart.
    html = render_to_string(f"{FOLDER}/{kind}.html", {**words, "subject": subject, "blocks": _blocks(text, words)})
    return Words(text, _masked(text, words), subject, html, words.get("stop_link", ""))


@cache
def _engine() -> Engine:
    """Plain text wants no escaping: a patient called O'Neil is not O&#x27;Neil."""
    return Engine(dirs=[str(settings.BASE_DIR / "templates")], autoescape=False, debug=False)


def _plain(name: str, words: dict[str, Any]) -> str:
    return _engine().get_template(f"{FOLDER}/{name}").render(Context(words, autoescape=False))


def _masked(text: str, words: dict[str, Any]) -> str:
    for link in _links(words):
        text = text.replace(link, MASK)
    return text


def _links(words: dict[str, Any]) -> list[str]:
    return [link for link in (words.get("link"), *words.get("other_links", []), words.get("stop_link")) if link]


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _blank_lines_closed(text: str) -> str:
    return re.sub(r"\n{3,}", "\n\n", "\n".join(line.rstrip() for line in text.strip().splitlines())) + "\n"


def _blocks(text: str, words: dict[str, Any]) -> list[dict[str, Any]]:
    """Paragraphs and lists of a text: {"points": [...]} for lines that begin with "- ", else {"lines": [...]}."""
    links = set(_links(words))
    blocks: list[dict[str, Any]] = []
    for paragraph in text.strip().split("\n\n"):
        lines = paragraph.splitlines()
        if all(line.startswith("- ") for line in lines):
            blocks.append({"points": [line.removeprefix("- ") for line in lines]})
        else:
            blocks.append({"lines": [{"text": line, "link": line in links} for line in lines]})
    return blocks
