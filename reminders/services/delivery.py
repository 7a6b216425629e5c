"""From claimed rows to the transports and back. No transport is ever called inside a transaction."""

import logging
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.db import InterfaceError, OperationalError
from django.db.models import DateTimeField, F, QuerySet, Value
from django.db.models.functions import Greatest

from clinic.selectors import recipient_of
from reminders.models import Message
from reminders.rules.joining import DueRow, said_together
from reminders.rules.kinds import MessageKind
from reminders.rules.outbox import MessageState
from reminders.services.addresses import Route, address_refused, route_find
from reminders.services.batches import Batch
from reminders.services.looking import Go, Instead, last_look
from reminders.services.marks import Sent, Taken, mark
from reminders.services.outcomes import after_error
from reminders.services.outgoing import outgoing_of
from reminders.services.queueing import LEASE, MOST_CLAIMS
from reminders.services.rendering import TooLong, render
from reminders.services.wording import Saying
from reminders.transports import Transport, TransportError

log = logging.getLogger(__name__)

Clock = Callable[[], datetime]
State = Message.State

HELD_BACK = timedelta(minutes=10)
"""How long a row that cannot be got through with waits before it is tried again."""


@dataclass(slots=True)
class Tally:
    """How many messages reached which state in one run; a retry or a move counts as put off."""

    sent: int = 0
    joined: int = 0
    put_off: int = 0
    dropped: int = 0
    missed: int = 0
    failed: int = 0
    uncertain: int = 0

    def add(self, state: str) -> None:
        name = "put_off" if state == State.PLANNED else str(state)
        setattr(self, name, getattr(self, name) + 1)


@dataclass(slots=True)
class Courier:
    """Takes one batch to the transports. The mark of a message that went is written together with the next one's."""

    batch: Batch
    transports: Mapping[str, Transport]
    clock: Clock
    tally: Tally
    _sent: Sent | None = None
    _spoken_for: set[int] = field(default_factory=set)

    def run(self, is_over: Callable[[], bool]) -> None:
        """Send what may be sent until the batch or the time is at its end. One bad row never stops the others."""
        for row in self.batch.rows:
            if is_over():
                break
            if row.pk in self._spoken_for:
                continue
            try:
                self._one(row)
            except (OperationalError, InterfaceError):
                raise
            except Exception:  # whatever is wrong with this row, the next one must go
                log.exception("Message %s could not be got through with", row.pk)
                self._hold_back(row)
        self._settle()

    def _settle(self) -> None:
        sent, self._sent = self._sent, None
        mark(self.batch.token, sent=sent, taken=None)

    def _one(self, row: Message) -> None:
        now = self.clock()
        look = last_look(row, self.batch.around, now)
        if isinstance(look, Instead):
            self._instead(row, look, now)
            return
        rows = [row, *self._joining(row, look, now)]
        signs = [sign for one in rows for sign in self.batch.around.signs.get(one.application_id or 0, [])]
        saying = Saying(row, rows[1:], look.recipient, self.batch.around.clinic, now, signs)
        try:
            words = render(saying, look.route.channel)
        except TooLong as too_long:
            self._refused(rows, look.route, TransportError(str(too_long), protocol="smtp", code=552), now)
            return
        outgoing = outgoing_of(saying, look.route, words)
        sent, self._sent = self._sent, None
        if not mark(self.batch.token, sent=sent, taken=Taken(rows, look.route, now)):
            self._give_back(rows)
            return
        row.attempts += 1
        row.claims = 0
        try:
            gateway_id = self.transports[look.route.channel].send(outgoing)
        except TransportError as error:
            self._refused(rows, look.route, error, self.clock())
            return
        except Exception:  # it may have gone before whatever broke
            log.exception("The transport broke with message %s", row.pk)
            silence = TransportError("the program failed while sending", protocol="smtp", handed_over=True)
            self._refused(rows, look.route, silence, self.clock())
            return
        self._spoken_for |= {one.pk for one in rows}
        self._sent = Sent([one.pk for one in rows], words.kept, gateway_id)
        self.tally.sent += 1
        self.tally.joined += len(rows) - 1

    def _joining(self, row: Message, look: Go, now: datetime) -> list[Message]:
        """Rows that row speaks for: due with it, and free to go to the same recipient by the same route."""
        among = {
            one.pk: one
            for one in (*self.batch.rows, *self.batch.near)
            if one.patient_id == row.patient_id and one.kind == row.kind and one.pk not in self._spoken_for
        }
        if len(among) == 1:
            return []
        due = [DueRow(one.pk, one.patient_id, MessageKind(one.kind), one.wake_at) for one in among.values()]
        with_row = (
            part for part in said_together(due, now) if row.pk in {one.key for one in (part.lead, *part.joined)}
        )
        part = next(with_row, None)
        if part is None:
            return []
        others = [among[one.key] for one in (part.lead, *part.joined) if one.key != row.pk]
        fit = [one for one in others if last_look(one, self.batch.around, now) == look]
        return [one for one in fit if one in self.batch.rows or self._claim(one, now)]

    def _claim(self, row: Message, now: datetime) -> bool:
        free = Message.objects.filter(pk=row.pk, state=State.PLANNED)
        lease = {"token": self.batch.token, "lease_until": now + LEASE, "claims": F("claims") + 1}
        return bool(free.update(state=State.CLAIMED, **lease))

    def _mine(self, rows: Iterable[Message]) -> QuerySet[Message]:
        held = (State.CLAIMED, State.SENDING)
        return Message.objects.filter(pk__in=[row.pk for row in rows], token=self.batch.token, state__in=held)

    def _instead(self, row: Message, look: Instead, now: datetime) -> None:
        values: dict[str, object] = {"state": look.state, "why": look.why[:200], "token": None, "lease_until": None}
        if look.state is MessageState.PLANNED:
            values |= {"wake_at": look.wake_at, "claims": 0}
            if look.why and look.why not in row.reasons:
                values["reasons"] = [*row.reasons, look.why]
        else:
            values["settled_at"] = now
        if self._mine([row]).update(**values):
            self.tally.add(look.state)

    def _refused(self, rows: Sequence[Message], route: Route, error: TransportError, now: datetime) -> None:
        """Write down what an attempt that failed at now means for its row and the rows it spoke for."""
        row = rows[0]
        after = after_error(row, error, now)
        log.warning("Message %s on %s, attempt %s: %s", row.pk, route.channel, row.attempts, after.why)
        state, wake_at = after.state, after.wake_at
        values: dict[str, object] = {"why": after.why[:200], "lease_until": None}
        if after.give_up:
            if error.address_refused:
                address_refused(route=route, why=after.why, now=now)
                self.batch.around.refused.add((route.channel, route.address))
            row.refused_on = f"{row.refused_on} {route.channel}".strip()
            values["refused_on"] = row.refused_on
            tried, refused = row.refused_on.split(), self.batch.around.refused
            if now < row.expires_at and route_find(recipient_of(row.patient), refused=refused, tried=tried):
                state = MessageState.PLANNED
        values |= {"state": state, "settled_at": None if state is MessageState.PLANNED else now}
        if state is not MessageState.UNCERTAIN:
            values["token"] = None
        self._spoken_for |= {one.pk for one in rows}
        # A row that had joined must not come at once by itself where the one it joined has to wait.
        at = Value(wake_at, output_field=DateTimeField())
        later = at if state is MessageState.UNCERTAIN else Greatest(F("wake_at"), at)
        self._mine(rows[1:]).update(wake_at=later, joined_to=None, **values)
        if self._mine(rows[:1]).update(wake_at=wake_at, **values):
            self.tally.add(state)

    def _give_back(self, rows: Sequence[Message]) -> None:
        """Something changed between reading and taking: nothing was handed over, so the rows are planned as before."""
        freed = {"state": State.PLANNED, "token": None, "lease_until": None, "settled_at": None, "joined_to": None}
        self._mine(rows[:1]).filter(state=State.SENDING).update(attempts=F("attempts") - 1)
        self._mine(rows).update(**freed)
        self.tally.add(State.PLANNED)

    def _hold_back(self, row: Message) -> None:
        now = self.clock()
        values: dict[str, object] = {"state": State.PLANNED, "wake_at": now + HELD_BACK}
        if row.claims >= MOST_CLAIMS or now + HELD_BACK >= row.expires_at:
            values = {"state": State.FAILED, "settled_at": now}
        why = "the program could not make this message"
        if self._mine([row]).filter(state=State.CLAIMED).update(why=why, token=None, lease_until=None, **values):
            self.tally.add(str(values["state"]))
