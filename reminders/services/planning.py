"""Planning: the difference between what the rules want and what is stored. It can run any number of times."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from django.db import transaction
from django.db.models import F

from clinic.models import Clinic, Patient, Visit
from reminders.models import Message
from reminders.rules.kinds import MessageKind
from reminders.rules.outbox import DROPPABLE, MessageState
from reminders.rules.plan import plan_visit_with_drops, plan_with_drops
from reminders.rules.planned import Plan, PlannedMessage, Settled, is_said
from reminders.services.links import links_keep, links_make
from reminders.services.stop_links import stop_link_keep
from reminders.services.subjects import application_facts, policy_of, subject_of, visit_facts
from taping.models import Application

NO_CONSENT = "no agreement to reminders"
_OPEN = (MessageState.PLANNED, MessageState.CLAIMED, MessageState.DROPPED)
_GOING = (MessageState.CLAIMED, MessageState.SENDING, MessageState.UNCERTAIN)
_DATES = ("planned_for", "wake_at", "expires_at", "reasons")


@dataclass(frozen=True, slots=True)
class Wish:
    """What one subject should have: its messages, why anything else is not wanted, and who they are for."""

    patient: Patient
    messages: tuple[PlannedMessage, ...] = ()
    against: Mapping[tuple[MessageKind, int], str] = field(default_factory=dict)
    otherwise: str = "no longer wanted"
    application: Application | None = None
    visit: Visit | None = None

    @property
    def subject(self) -> str:
        return subject_of(self.application or self.visit or self.patient)


@transaction.atomic
def plan_application(*, pk: int, clinic: Clinic, now: datetime) -> bool:
    """Bring the messages of one application in step with it and note the version they were planned from.

    now: aware. False where somebody else holds the row: it stays stale and is planned next time. Raises ValueError
    for facts that cannot be.
    """
    rows = Application.objects.select_related("patient", "removal_visit")
    application = rows.select_for_update(of=("self",), skip_locked=True).filter(pk=pk).first()
    if application is None:
        return False
    links_keep(application=application, zone=clinic.zone)
    plan = plan_with_drops(application_facts(application, clinic), policy_of(clinic))
    otherwise = "the tape is off" if application.ended_at else "no longer part of the plan"
    _store(_wish(plan, application.patient, otherwise, application=application), first=_is_new(application), now=now)
    _planned(application)
    return True


@transaction.atomic
def plan_new_applications(*, pks: Sequence[int], clinic: Clinic, now: datetime) -> set[int]:
    """Plan tapes of which nothing was ever planned, all together; returns which. now: aware.

    Just what plan_application does for each: with nothing stored there is no difference to look for. Any that has
    messages already, or that somebody else holds, is left as it is. Raises for all where one cannot be planned.
    """
    rows = Application.objects.select_related("patient", "removal_visit").order_by("pk")
    found = list(rows.select_for_update(of=("self",), skip_locked=True).filter(pk__in=pks, planned_version=0))
    stored = set(Message.objects.filter(application__in=found).values_list("application_id", flat=True))
    new = [one for one in found if one.pk not in stored]
    links_make(applications=new, zone=clinic.zone)
    policy = policy_of(clinic)
    messages: list[Message] = []
    for application in new:
        plan = plan_with_drops(application_facts(application, clinic), policy)
        wish = _wish(plan, application.patient, "", application=application)
        messages += [_row(wish, planned, planned.ordinal) for planned in wish.messages]
    Message.objects.bulk_create(messages)
    # They are locked since they were read, so the version there now is the one they were planned from.
    Application.objects.filter(pk__in=[one.pk for one in new]).update(planned_version=F("plan_version"))
    return {one.pk for one in new}


@transaction.atomic
def plan_visit(*, pk: int, clinic: Clinic, now: datetime) -> bool:
    """The same for one visit; one that has begun or is over needs no message any more."""
    rows = Visit.objects.select_related("patient")
    visit = rows.select_for_update(of=("self",), skip_locked=True).filter(pk=pk).first()
    if visit is None:
        return False
    stop_link_keep(visit=visit)
    plan = Plan((), ())
    otherwise = "the visit has begun or is over"
    if visit.state in (Visit.State.BOOKED, Visit.State.CANCELLED):
        plan = plan_visit_with_drops(visit_facts(visit, clinic), policy_of(clinic))
        otherwise = "the visit was changed" if visit.state == Visit.State.BOOKED else "the visit was cancelled"
    _store(_wish(plan, visit.patient, otherwise, visit=visit), first=_is_new(visit), now=now)
    # The hour of a removal visit is said in the tape's own messages, and may move one of them.
    Application.objects.filter(removal_visit=visit, ended_at=None).update(plan_version=F("plan_version") + 1)
    _planned(visit)
    return True


def _is_new(subject: Application | Visit) -> bool:
    return subject.planned_version == 0


def _planned(subject: Application | Visit) -> None:
    # The version that was read, not the one there now: a change made in the meantime is planned next time.
    type(subject)._default_manager.filter(pk=subject.pk).update(planned_version=subject.plan_version)


def _wish(
    plan: Plan,
    patient: Patient,
    otherwise: str,
    *,
    application: Application | None = None,
    visit: Visit | None = None,
) -> Wish:
    if not patient.consents:
        return Wish(patient, otherwise=NO_CONSENT, application=application, visit=visit)
    against = {(one.kind, one.ordinal): "; ".join(one.reasons) for one in plan.dropped}
    return Wish(patient, plan.messages, against, otherwise, application, visit)


def _store(wish: Wish, *, first: bool, now: datetime) -> None:
    rows = list(Message.objects.select_for_update().filter(subject=wish.subject).order_by("ordinal"))
    by_slot: dict[tuple[str, int], list[Message]] = {}
    for row in rows:
        by_slot.setdefault((row.kind, row.slot), []).append(row)
    ordinals = _Ordinals(rows, wish.messages)
    new: list[Message] = []
    for planned in wish.messages:
        slot = by_slot.get((planned.kind.value, planned.ordinal), [])
        said = next((row for row in slot if not _is_open(row) and _says_it(row, planned, now)), None)
        if said is not None:
            slot.remove(said)
        elif slot and _is_open(slot[-1]):
            _redate(slot.pop(), planned, now)
        elif slot:
            new.append(_row(wish, planned, ordinals.next(planned.kind)))
        elif first or planned.expires_at > now:
            # What was over before it could be wanted is not news; what an outage made too late is, once.
            new.append(_row(wish, planned, planned.ordinal))
    _drop((row for slot in by_slot.values() for row in slot), wish, now)
    Message.objects.bulk_create(new)


def _is_open(row: Message) -> bool:
    """Whether the row may take another date. One on its way for the second time may have arrived: its key is used."""
    return row.state in _OPEN and not row.repeats


class _Ordinals:
    """Hands out ordinals that neither a stored row nor the plan itself uses."""

    def __init__(self, rows: Iterable[Message], planned: Iterable[PlannedMessage]) -> None:
        self._last: dict[str, int] = {}
        for kind, ordinal in [(row.kind, row.ordinal) for row in rows] + [(one.kind, one.ordinal) for one in planned]:
            self._last[kind] = max(self._last.get(kind, 0), ordinal)

    def next(self, kind: str) -> int:
        self._last[kind] = self._last.get(kind, 0) + 1
        return self._last[kind]


def _row(wish: Wish, planned: PlannedMessage, ordinal: int) -> Message:
    return Message(
        patient=wish.patient,
        application=wish.application,
        visit=wish.visit,
        subject=wish.subject,
        kind=planned.kind.value,
        ordinal=ordinal,
        slot=planned.ordinal,
        safety=planned.kind.is_safety,
        planned_for=planned.due_at,
        wake_at=planned.due_at,
        expires_at=planned.expires_at,
        reasons=list(planned.reasons),
    )


def _redate(row: Message, planned: PlannedMessage, now: datetime) -> None:
    """Give a row that has not gone its new date; one whose date stands keeps a retry's or the quiet hours' delay."""
    dropped = row.state == MessageState.DROPPED
    if dropped and planned.expires_at <= now:
        return
    same = row.planned_for == planned.due_at and row.expires_at == planned.expires_at
    if same and not dropped and row.reasons[: len(planned.reasons)] == list(planned.reasons):
        return
    if not same or dropped:
        row.wake_at = planned.due_at
    row.planned_for, row.expires_at, row.reasons = planned.due_at, planned.expires_at, list(planned.reasons)
    values = {name: getattr(row, name) for name in _DATES}
    # Taking the token away makes a worker that has claimed the row let go of it at its last look.
    changed = Message.objects.filter(pk=row.pk, state__in=_OPEN)
    changed.update(state=MessageState.PLANNED, token=None, lease_until=None, why="", settled_at=None, **values)


def _says_it(row: Message, planned: PlannedMessage, now: datetime) -> bool:
    went = row.state in _GOING or row.state == MessageState.SENT
    settled = Settled(due_at=row.planned_for, expires_at=row.expires_at, reasons=row.reasons, went=went)
    return is_said(planned, settled, now)


def _drop(rows: Iterable[Message], wish: Wish, now: datetime) -> None:
    """One statement a reason: where a tape is off, that is one for all its messages."""
    pks: dict[str, list[int]] = {}
    for row in rows:
        if row.state in DROPPABLE:
            why = wish.against.get((MessageKind(row.kind), row.slot), wish.otherwise)
            pks.setdefault(why, []).append(row.pk)
    for why, of_why in pks.items():
        _drop_rows(of_why, why, now)


def message_drop(*, row: Message, why: str, now: datetime) -> bool:
    """Drop a row that has not gone yet, with its reason; False where it was taken in the meantime."""
    return bool(_drop_rows([row.pk], why, now))


def _drop_rows(pks: Sequence[int], why: str, now: datetime) -> int:
    droppable = Message.objects.filter(pk__in=pks, state__in=DROPPABLE)
    return droppable.update(state=MessageState.DROPPED, why=why[:200], token=None, lease_until=None, settled_at=now)
