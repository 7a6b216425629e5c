"""What became of a message after it was handed over: it arrived, it did not, or the other side is still trying."""

from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction

from clinic.models import Patient
from clinic.models.people import Channel
from clinic.selectors import recipient_of
from clinic.services.events import Actor, event_record
from reminders.models import Message, Notice
from reminders.rules.kinds import MessageKind
from reminders.rules.notices import Effect, News, effect_of, key_in
from reminders.rules.outbox import MessageState
from reminders.services.addresses import Route, address_refused, refused_among, route_find
from reminders.services.waking import wake

BY_HOOK = Actor(word="webhook")

WAITS = timedelta(hours=1)
"""How long a receipt waits for a message nobody knows yet: the gateway may be quicker than our own mark."""

CLOCKS_APART = timedelta(minutes=1)
"""How far the clocks of two of our own hosts may be apart."""

MOST_AT_ONCE = 500
_CHANNEL = {Notice.What.RECEIPT.value: Channel.SMS, Notice.What.BOUNCE.value: Channel.EMAIL}
_AFTER = ("sent", "uncertain")

State = Message.State


def receipts_settle(now: datetime) -> int:
    """Apply the notices whose message was not marked when they came; returns how many are done with. now: aware."""
    done = 0
    for notice in Notice.objects.filter(open=True).order_by("id")[:MOST_AT_ONCE]:
        with transaction.atomic():
            settled = receipt_apply(notice=notice, now=now) or now - notice.received_at >= WAITS
            if settled:
                Notice.objects.filter(pk=notice.pk).update(open=False)
                done += 1
    return done


@transaction.atomic
def receipt_apply(*, notice: Notice, now: datetime, actor: Actor = BY_HOOK) -> bool:
    """Do what a receipt or bounce says; False where its message is on its way, or not known. now: aware."""
    message = _message(notice)
    if message is None:
        return False
    if message.settled_at is not None and message.settled_at > notice.received_at + CLOCKS_APART:
        return True  # it was sent again since: this is news of an earlier attempt
    effect = effect_of(News(notice.news), MessageState(message.state))
    if effect is Effect.WAIT:
        return False
    if effect is Effect.ARRIVED:
        _arrived(message, now)
    elif effect is Effect.NOTED:
        Message.objects.filter(pk=message.pk, receipt="").update(receipt=notice.news, receipt_at=now)
    elif effect is Effect.LOST:
        _lost(message, notice, now, actor)
    return True


def _message(notice: Notice) -> Message | None:
    """The message a notice names, locked; on its own channel, the latest where a gateway gives one id twice.

    A message said together with another has its id, but it is the other one that went.
    """
    rows = Message.objects.select_related("patient").select_for_update(of=("self",))
    key = key_in(notice.reference)
    # Both are worded as the conditions of their indexes are: SQLite uses a partial index only then.
    named = list(rows.filter(key=UUID(key)).exclude(channel="")) if key else []
    named += rows.filter(gateway_id=notice.reference).exclude(gateway_id="") if not named else []
    own = [one for one in named if one.channel == _CHANNEL[notice.what] and one.joined_to_id is None]
    return max(own, key=lambda one: (one.planned_for, one.pk), default=None)


def _arrived(message: Message, now: datetime) -> None:
    values = {"receipt": Message.Receipt.DELIVERED, "receipt_at": now}
    # One nobody was sure of is known to have arrived: no worker and no person need look at it again.
    silent = Message.objects.filter(pk=message.pk, state=State.UNCERTAIN)
    silent.update(state=State.SENT, why="", token=None, lease_until=None)
    Message.objects.filter(pk=message.pk).update(**values)
    Message.objects.filter(joined_to=message.pk, state=State.SENT).update(**values)


def _lost(message: Message, notice: Notice, now: datetime, actor: Actor) -> None:
    """It did not arrive: the other channel takes over where it still can, else somebody calls."""
    route = Route(message.channel, message.address)
    why = notice.why or ("it bounced" if notice.what == Notice.What.BOUNCE else "the gateway could not deliver it")
    if notice.for_good and not MessageKind(message.kind).is_for_staff:
        address_refused(route=route, why=why, now=now)
    tried = f"{message.refused_on} {message.channel}".strip()
    rows = Message.objects.filter(pk=message.pk) | Message.objects.filter(joined_to=message.pk)
    lost = list(rows.filter(state__in=_AFTER).values_list("pk", flat=True))
    mine = Message.objects.filter(pk__in=lost)
    mine.update(
        state=State.FAILED, why=why, refused_on=tried, settled_at=now, token=None, lease_until=None, joined_to=None,
        receipt=Message.Receipt.UNDELIVERED, receipt_at=now,
    )  # fmt: skip
    patient = Patient.objects.prefetch_related("helpers").get(pk=message.patient_id)
    other = route_find(recipient_of(patient), refused=refused_among([patient]), tried=tried.split())
    if other is not None and patient.consents and not MessageKind(message.kind).is_for_staff:
        again = mine.filter(expires_at__gt=now)
        again.update(state=State.PLANNED, wake_at=now, claims=0, settled_at=None)
        transaction.on_commit(wake, robust=True)
    event_record(actor=actor, verb="message.undelivered", subject=message, patient=patient, now=now, fields=["state"])
