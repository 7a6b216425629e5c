"""To whom a message goes, and on which channel."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime

from clinic.models import Helper, Patient
from clinic.models.people import Channel
from clinic.selectors import recipient_of
from reminders.models import RefusedAddress
from reminders.services.due_rows import DuePatient, DueRecipient

Refused = Collection[tuple[str, str]]
Recipient = Patient | Helper | DueRecipient


@dataclass(frozen=True, slots=True)
class Route:
    """A channel and the address on it."""

    channel: str
    address: str


def recipient_at(patient: Patient | DuePatient) -> Recipient:
    """Who gets this patient's messages."""
    return patient.recipient if isinstance(patient, DuePatient) else recipient_of(patient)


def routes_of(recipient: Recipient) -> list[Route]:
    """The recipient's channels that have an address, the preferred one first."""
    both = [Route(Channel.SMS, recipient.phone), Route(Channel.EMAIL, recipient.email)]
    both.sort(key=lambda route: route.channel != recipient.prefers)
    return [route for route in both if route.address]


def route_find(recipient: Recipient, *, refused: Refused, tried: Iterable[str] = ()) -> Route | None:
    """The first channel that works: it has an address that was not refused, and did not refuse this message."""
    left_out = set(tried)
    for route in routes_of(recipient):
        if route.channel not in left_out and (route.channel, route.address) not in refused:
            return route
    return None


def refused_among(patients: Iterable[Patient | DuePatient]) -> set[tuple[str, str]]:
    """Which addresses of these patients' recipients were refused for good, as (channel, address). One query."""
    routes = [route for patient in patients for route in routes_of(recipient_at(patient))]
    rows = RefusedAddress.objects.filter(address__in={route.address for route in routes})
    return set(rows.values_list("channel", "address"))


def address_refused(*, route: Route, why: str, now: datetime) -> None:
    """Remember that nothing more is to be sent there. Idempotent."""
    RefusedAddress.objects.get_or_create(
        channel=route.channel, address=route.address, defaults={"since": now, "why": why[:200]}
    )
