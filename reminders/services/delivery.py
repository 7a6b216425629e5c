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
from reminders.services.due_rows import DueMessage
from reminders.services.looking import Go, Instead, last_look
from reminders.services.marks import Sent, Taken, mark_or_keep
from reminders.services.outcomes import after_error
from reminders.services.outgoing import outgoing_of
from reminders.services.pace import Pace
from reminders.services.queueing import AHEAD, LEASE, MOST_CLAIMS, release
from reminders.services.rendering import TooLong, Words, render
from reminders.services.wording import Saying
from reminders.transports import Outgoing, Transport, TransportError

log = logging.getLogger(__name__)

Clock = Callable[[], datetime]
Write = Callable[[Sequence[DueMessage], Go, datetime], tuple[Words, Outgoing]]
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


@dataclass(frozen=True, slots=True)
class Round:
    """What stays the same from batch to batch of one pass: the ways out, the clock, the count, who writes the words
    (None: the templates)."""

    transports: Mapping[str, Transport]
    clock: Clock
    tally: Tally
    write: Write | None = None
    pace: Pace = field(default_factory=Pace)


@dataclass(slots=True)
class Courier:
    """Takes one batch to the transports. The mark of a message that went is written together with the next one's."""

    batch: Batch
    round: Round
    _sent: Sent | None = None
    _claimed_besides: bool = False
    _spoken_for: set[int] = field(default_factory=set)
    _together: dict[tuple[int, str], list[DueMessage]] = field(default_factory=dict)

    def run(self, is_over: Callable[[], bool]) -> None:
        """Send what may be sent until the batch or the time is at its end. One bad row never stops the others.

        What was claimed and not come to is given back.
        """
        left = self._each(is_over)
        self._settle()
        if left or self._claimed_besides:
            release(token=self.batch.token)

    def _each(self, is_over: Callable[[], bool]) -> bool:
        """Returns whether a row may still be claimed: the time is over, or one could not be got through with."""
        left = False
        for row in self.batch.rows:
            if is_over():
                return True
            if row.pk in self._spoken_for:
                continue
            try:
                self._one(row)
            except (OperationalError, InterfaceError):
                raise
            except Exception:  # whatever is wrong with this row, the next one must go
                log.exception("Message %s could not be got through with", row.pk)
                self._hold_back(row)
                left = True
        return left

    def _settle(self) -> None:
        sent, self._sent = self._sent, None
        mark_or_keep(self.batch.token, sent=sent, taken=None)

    def _one(self, row: DueMessage) -> None:
        now = self.round.clock()
        look = last_look(row, self.batch.around, now)
        if isinstance(look, Instead):
            self._instead(row, look, now)
            return
        if self._rests(row, look.route.channel, now):
            return
        rows = [row, *self._joining(row, look, now)]
        try:
            words, outgoing = (self.round.write or self._write)(rows, look, now)
        except TooLong as too_long:
            self._refused(rows, look.route, TransportError(str(too_long), protocol="smtp", code=552), now)
            return
        sent, self._sent = self._sent, None
        if not mark_or_keep(self.batch.token, sent=sent, taken=Taken(rows, look.route, now)):
            self._give_back(rows)
            return
        row.attempts += 1
        row.claims = 0
        begun = self.round.pace.begun()
        try:
            gateway_id = self.round.transports[look.route.channel].send(outgoing)
        except TransportError as error:
            self._refused(rows, look.route, error, self.round.clock())
            return
        except Exception:  # it may have gone before whatever broke
            log.exception("The transport broke with message %s", row.pk)
            silence = TransportError("the program failed while sending", protocol="smtp", handed_over=True)
            self._refused(rows, look.route, silence, self.round.clock())
            return
        finally:
            self.round.pace.took(look.route.channel, begun)
        self._spoken_for |= {one.pk for one in rows}
        self._sent = Sent([one.pk for one in rows], words.kept, gateway_id)
        self.round.tally.sent += 1
        self.round.tally.joined += len(rows) - 1

    def _rests(self, row: DueMessage, channel: str, now: datetime) -> bool:
        """Put row off while its channel rests, unless it would be useless by then."""
        rest = self.round.pace.rest(channel)
        later = now + timedelta(seconds=rest)
        if not rest or later >= row.expires_at:
            return False
        freed = {"state": State.PLANNED, "token": None, "lease_until": None, "claims": F("claims") - 1}
        if self._mine([row]).filter(state=State.CLAIMED).update(wake_at=later, **freed):
            self.round.tally.add(State.PLANNED)
        return True

    def _write(self, rows: Sequence[DueMessage], look: Go, now: datetime) -> tuple[Words, Outgoing]:
        full = self.batch.full(rows)
        row, clinic = full.rows[0], self.batch.around.clinic
        saying = Saying(row, full.rows[1:], recipient_of(row.patient), clinic, now, full.signs, full.places)
        words = render(saying, look.route.channel)
        return words, outgoing_of(saying, look.route, words)

    def _joining(self, row: DueMessage, look: Go, now: datetime) -> list[DueMessage]:
        """Rows that row speaks for: due with it, and free to go to the same recipient by the same route."""
        if not self._together:
            for one in (*self.batch.rows, *self.batch.near):
                self._together.setdefault((one.patient_id, one.kind), []).append(one)
        alike = self._together[row.patient_id, row.kind]
        if len(alike) == 1:
            return []
        among = {one.pk: one for one in alike if one.pk not in self._spoken_for}
        due = [DueRow(one.pk, one.patient_id, MessageKind(one.kind), one.wake_at) for one in among.values()]
        with_row = (
            part for part in said_together(due, now) if row.pk in {one.key for one in (part.lead, *part.joined)}
        )
        part = next(with_row, None)
        if part is None:
            return []
        others = [among[one.key] for one in (part.lead, *part.joined) if one.key != row.pk]
        fit = [one for one in others if last_look(one, self.batch.around, now) == look]
        mine = {one.pk for one in self.batch.rows}
        return [one for one in fit if one.pk in mine or self._claim(one, now)]

    def _claim(self, row: DueMessage, now: datetime) -> bool:
        free = Message.objects.filter(pk=row.pk, state=State.PLANNED)
        lease = {"token": self.batch.token, "lease_until": now + LEASE, "claims": F("claims") + 1}
        self._claimed_besides = True
        return bool(free.update(state=State.CLAIMED, **lease))

    def _mine(self, rows: Iterable[DueMessage]) -> QuerySet[Message]:
        held = (State.CLAIMED, State.SENDING)
        return Message.objects.filter(pk__in=[row.pk for row in rows], token=self.batch.token, state__in=held)

    def _instead(self, row: DueMessage, look: Instead, now: datetime) -> None:
        values: dict[str, object] = {"state": look.state, "why": look.why[:200], "token": None, "lease_until": None}
        if look.state is MessageState.PLANNED:
            values |= {"wake_at": look.wake_at, "claims": 0}
            reasons = Message.objects.values_list("reasons", flat=True).get(pk=row.pk)
            if look.why and look.why not in reasons:
                values["reasons"] = [*reasons, look.why]
        else:
            values["settled_at"] = now
        if self._mine([row]).update(**values):
            self.round.tally.add(look.state)

    def _refused(self, rows: Sequence[DueMessage], route: Route, error: TransportError, now: datetime) -> None:
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
            if now < row.expires_at and route_find(row.patient.recipient, refused=refused, tried=tried):
                state = MessageState.PLANNED
        values |= {"state": state, "settled_at": None if state is MessageState.PLANNED else now}
        if state is not MessageState.UNCERTAIN:
            values["token"] = None
        self._spoken_for |= {one.pk for one in rows}
        # A row that had joined must not come at once by itself where the one it joined has to wait.
        at = Value(wake_at, output_field=DateTimeField())
        later = at if state is MessageState.UNCERTAIN else Greatest(F("wake_at"), at)
        self._mine(rows[1:]).update(wake_at=later, joined_to=None, **values)
        # The lead stays a moment ahead of the rows it spoke for, so that it leads, with its key, when they go again.
        ahead = AHEAD if state is MessageState.UNCERTAIN and rows[1:] else timedelta(0)
        if self._mine(rows[:1]).update(wake_at=wake_at - ahead, **values):
            self.round.tally.add(state)

    def _give_back(self, rows: Sequence[DueMessage]) -> None:
        """Something changed between reading and taking: nothing was handed over, so the rows are planned as before."""
        freed = {"state": State.PLANNED, "token": None, "lease_until": None, "settled_at": None, "joined_to": None}
        self._mine(rows[:1]).filter(state=State.SENDING).update(attempts=F("attempts") - 1)
        self._mine(rows).update(**freed)
        self.round.tally.add(State.PLANNED)

    def _hold_back(self, row: DueMessage) -> None:
        now = self.round.clock()
        values: dict[str, object] = {"state": State.PLANNED, "wake_at": now + HELD_BACK}
        if row.claims >= MOST_CLAIMS or now + HELD_BACK >= row.expires_at:
            values = {"state": State.FAILED, "settled_at": now}
        why = "the program could not make this message"
        if self._mine([row]).filter(state=State.CLAIMED).update(why=why, token=None, lease_until=None, **values):
            self.round.tally.add(str(values["state"]))
