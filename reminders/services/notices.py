"""What comes in by webhook, done once: replies by text, receipts of text messages, bounces of mails."""

from datetime import datetime, timedelta
from enum import StrEnum

from django.db import IntegrityError, transaction

from clinic.logs import without_private_words
from clinic.models.people import Channel
from reminders.models import Notice
from reminders.rules.notices import ReceiptNotice, ReplyNotice
from reminders.services.receipts import receipt_apply
from reminders.services.replies import reply_receive
from reminders.services.stopping import patients_at

REMEMBERED = timedelta(days=30)
"""How long the id of a notice is known; its signature is worth nothing after five minutes."""


class Taken(StrEnum):
    """DONE; SEEN before, so nothing was done; UNKNOWN: nobody here has that number or knows that message."""

    DONE = "done"
    SEEN = "seen before"
    UNKNOWN = "unknown"


@transaction.atomic
def reply_take(*, now: datetime, notice: ReplyNotice) -> Taken:
    """Act on a text that came in at now (aware), once."""
    if _remember(Notice(what=Notice.What.REPLY, notice_id=notice.id, received_at=now)) is None:
        return Taken.SEEN
    if not patients_at(Channel.SMS.value, notice.number).exists():
        return Taken.UNKNOWN
    reply_receive(now=now, number=notice.number, text=notice.text)
    return Taken.DONE


@transaction.atomic
def receipt_take(*, now: datetime, what: str, notice: ReceiptNotice) -> Taken:
    """Act on news of a message, once. what: Notice.What's receipt or bounce. now: aware.

    News of a message that nobody knows is kept for an hour: it may be on its way and not marked yet.
    """
    row = _remember(
        Notice(
            what=what,
            notice_id=notice.id,
            received_at=now,
            reference=notice.reference,
            news=notice.news.value,
            for_good=notice.for_good,
            # The other side's words may repeat the number or the mailbox.
            why=without_private_words(notice.why),
        )
    )
    if row is None:
        return Taken.SEEN
    if receipt_apply(notice=row, now=now):
        return Taken.DONE
    Notice.objects.filter(pk=row.pk).update(open=True)
    return Taken.UNKNOWN


def _remember(notice: Notice) -> Notice | None:
    """Store a notice; None where its id came before. Forgets those too old to come again."""
    Notice.objects.filter(open=False, received_at__lt=notice.received_at - REMEMBERED).delete()
    try:
        with transaction.atomic():
            notice.save(force_insert=True)
    except IntegrityError:
        return None
    return notice
