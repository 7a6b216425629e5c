"""What a change of the clinic's settings would do to messages that are planned, found without writing anything."""

from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime

from clinic.models import Clinic, Visit
from reminders.rules.kinds import MessageKind
from reminders.rules.plan import plan_visit_with_drops, plan_with_drops
from reminders.rules.planned import PlannedMessage, Settled, is_said
from reminders.services.reconciling import live_applications, live_visits
from reminders.services.subjects import application_facts, policy_of, visit_facts

MOST = 2_000
"""Tapes, and visits, that are looked at: a page must answer. A clinic of four people has a few dozen."""
Key = tuple[MessageKind, int]


@dataclass(slots=True)
class Difference:
    """How many messages would go at another time, no longer go, or be added; whole: all were looked at."""

    moved: int = 0
    dropped: int = 0
    added: int = 0
    whole: bool = True

    def count(self, before: Iterable[PlannedMessage], after: Iterable[PlannedMessage], *, now: datetime) -> None:
        """Count one subject's, as planning will compare them. What was due before is taken to have gone; now: aware.

        A message goes as long as it is of use, so one whose new time has passed goes at once.
        """
        old = {_key(one): one for one in before}
        goes = {_key(one): one for one in after if one.expires_at > now}
        waiting = {key for key, one in old.items() if one.due_at > now}
        self.dropped += len(waiting - goes.keys())
        self.moved += sum(1 for key in waiting & goes.keys() if old[key].due_at != goes[key].due_at)
        self.added += sum(1 for key in goes.keys() - waiting if not _was_said(old.get(key), goes[key], now))

    def sentences(self) -> list[str]:
        """The difference in words, in the order of what matters."""
        counts = (
            (self.dropped, "would no longer go"),
            (self.moved, "would go at another time"),
            (self.added, "would be added"),
        )
        said = [f"{count} planned message{'' if count == 1 else 's'} {words}." for count, words in counts if count]
        said = said or ["No message that is planned would go at another time, be dropped or be added."]
        return said if self.whole else [*said, f"Only the {MOST} newest tapes and visits were looked at."]


def policy_difference(*, before: Clinic, after: Clinic, now: datetime) -> Difference:
    """Plan everybody's messages with both, in memory, and compare. now: aware."""
    found, old, new = Difference(), policy_of(before), policy_of(after)
    tapes = live_applications(now).filter(patient__consents=True)
    for tape in tapes.select_related("patient", "removal_visit").order_by("-pk")[:MOST]:
        with suppress(ValueError):  # what cannot be planned now is named in the log, and cannot be planned then either
            plans = (
                plan_with_drops(application_facts(tape, before), old),
                plan_with_drops(application_facts(tape, after), new),
            )
            found.count(*(plan.messages for plan in plans), now=now)
    states = (Visit.State.BOOKED, Visit.State.CANCELLED)
    visits = live_visits(now).filter(patient__consents=True, state__in=states)
    for visit in visits.select_related("patient").order_by("-pk")[:MOST]:
        with suppress(ValueError):
            plans = (
                plan_visit_with_drops(visit_facts(visit, before), old),
                plan_visit_with_drops(visit_facts(visit, after), new),
            )
            found.count(*(plan.messages for plan in plans), now=now)
    found.whole = tapes.count() <= MOST and visits.count() <= MOST
    return found


def _key(message: PlannedMessage) -> Key:
    return message.kind, message.ordinal


def _was_said(before: PlannedMessage | None, after: PlannedMessage, now: datetime) -> bool:
    if before is None:
        return False
    went = Settled(due_at=before.due_at, expires_at=before.expires_at, reasons=before.reasons, went=True)
    return is_said(after, went, now)
