"""A person sends a message again that failed, or of which nobody knows whether it arrived."""

from datetime import datetime

from django.db import transaction
from django.db.models import F

from clinic.selectors import clinic_get, recipient_of
from clinic.services.events import Actor, event_record
from reminders.models import CallItem, Message, RefusedAddress
from reminders.rules.kinds import MessageKind
from reminders.rules.outbox import NEEDS_PERSON
from reminders.services.addresses import routes_of
from reminders.services.call_list import call_close
from reminders.services.waking import wake


class NotAgain(ValueError):
    """This message cannot go again; the text says why and what would work."""


@transaction.atomic
def message_send_again(*, actor: Actor, now: datetime, message: Message) -> None:
    """Plan the message for now (aware), with the key it always had, and close the calls about it. Raises NotAgain.

    The key lets the other side recognise a message it has already passed on. Quiet hours hold for it as for any.
    A mail to the duty address goes to that of today: correcting it is why most are sent again.
    """
    current = Message.objects.select_for_update().get(pk=message.pk)
    if current.state not in NEEDS_PERSON:
        raise NotAgain(f"This message is: {current.get_state_display()}. Only one that needs a person goes again.")
    if current.expires_at <= now:
        raise NotAgain("It is too late for this message: call the patient instead.")
    sent = Message.objects.filter(pk=current.pk, state=current.state).update(
        address=_address(current),
        state=Message.State.PLANNED,
        why="sent again by a person",
        wake_at=now,
        # What may have arrived goes only where the same key can tell, and is never dated anew.
        repeats=F("repeats") + int(current.state == Message.State.UNCERTAIN),
        claims=0,
        refused_on="",
        token=None,
        lease_until=None,
        settled_at=None,
        joined_to=None,
    )
    if not sent:
        raise NotAgain("Somebody else has just dealt with this message. Look at its state.")
    # Whoever sends again says that the address is right after all; while it counts as refused it is passed over.
    if not MessageKind(current.kind).is_for_staff:
        routes = routes_of(recipient_of(current.patient))
        RefusedAddress.objects.filter(address__in=[route.address for route in routes]).delete()
    for item in CallItem.objects.filter(message=current, closed_at=None).select_related("patient"):
        call_close(now=now, item=item, how="sent again", actor=actor)
    event_record(actor=actor, verb="message.sent_again", subject=current, patient=current.patient, now=now)
    transaction.on_commit(wake, robust=True)


def _address(message: Message) -> str:
    if message.kind != MessageKind.DUTY_REPORT:
        return message.address
    address = clinic_get().duty_address
    if not address:
        raise NotAgain("The clinic has no duty address any more: ring whoever is on duty.")
    return address
