"""The inside of a mail's page: made here at once, since filling it tag by tag took half of what a mail takes."""

from collections.abc import Iterable, Mapping
from html import escape
from typing import Any

from django import template
from django.utils.safestring import SafeString, mark_safe

from reminders.templatetags.sentences import to_dial

register = template.Library()


@register.simple_tag
def mail_body(blocks: Iterable[Mapping[str, Any]], pictures: Iterable[Any] = ()) -> SafeString:
    """Paragraphs and lists as rendering makes them, the pictures after the list of steps. Every word is escaped."""
    return mark_safe("".join(_block(block, pictures) for block in blocks))  # escaped piece by piece


def _block(block: Mapping[str, Any], pictures: Iterable[Any]) -> str:
    if not block.get("points"):
        return f"<p>{'<br>'.join(_line(line) for line in block['lines'])}</p>\n"
    points = "".join(f"<li>{to_dial(point)}</li>" for point in block["points"])
    shown = "".join(_picture(one) for one in pictures or ()) if block["steps"] else ""
    return f"<ol>{points}</ol>\n{shown}"


def _line(line: Mapping[str, Any]) -> str:
    if not line["link"]:
        return to_dial(line["pieces"])
    # Without a place to break at, a token pushes every line of the mail out of a telephone's sight.
    address = escape(line["text"])
    return f'<a dir="ltr" href="{address}" style="word-break: break-all">{address}</a>'


def _picture(one: Any) -> str:
    heading = f"<h2>{escape(one.heading)}</h2>\n" if one.heading else ""
    image = f'<img src="cid:{escape(one.part.cid)}" alt="{escape(one.told)}" width="200" height="200">'
    return f"{heading}<p>{image}<br>{escape(one.text)}</p>\n"
